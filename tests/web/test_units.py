"""What a screen shows in each system of units, against constants of an independent library."""

from types import SimpleNamespace

import pytest
from scipy import constants

from analytics.costing.totals import Reach, Total
from analytics.models import BurnerTrend, TrimDrift
from analytics.selectors import total_sentence, trim_sentence
from analytics.selectors.trends import trend_sentence
from analytics.trim_scale import trim_scale
from fleet.units import BY_UNIT, MEASURES, two_digits
from visits.advising.words import advice_text, supply_text
from visits.judging.catalogue import sentence
from visits.measured import MEASURED_FIELDS

CONVENTIONAL_INCH_OF_WATER_PA = 249.08891  # NIST SP 811 (2008), appendix B.8; from memory


@pytest.mark.parametrize(
    ("name", "stored", "shown"),
    [
        ("flue_temp_c", 60.0, constants.convert_temperature(60.0, "Celsius", "Fahrenheit")),
        ("input_gross_kw", 100.0, 100e3 * constants.hour / constants.Btu_IT / 1000),
        ("gas_rate_m3_h", 10.0, 10.0 / constants.foot**3),
        ("elevation_m", 84.0, 84.0 / constants.foot),
        ("inlet_pressure_mbar", 20.0, 2000.0 / CONVENTIONAL_INCH_OF_WATER_PA),
        ("control_pressure_pa", 700.0, 700.0 / CONVENTIONAL_INCH_OF_WATER_PA),
        ("offset_pa", -1.2, -1.2 / CONVENTIONAL_INCH_OF_WATER_PA),
    ],
)
def test_us_values_agree_with_independent_constants(name: str, stored: float, shown: float) -> None:
    assert MEASURES[name].value(stored, "us") == pytest.approx(shown, rel=1e-6)
    assert MEASURES[name].value(stored, "si") == stored


def test_a_spread_of_temperature_is_scaled_and_never_shifted() -> None:
    assert MEASURES["flue_temp_c"].spread_text(5.0, "us") == "9"
    assert MEASURES["flue_temp_c"].text(0.0, "us") == "32"


def test_every_measured_column_has_a_label_and_a_unit() -> None:
    assert [name for name in MEASURED_FIELDS if name not in MEASURES] == []


def test_a_missing_value_is_a_dash_and_a_negative_one_has_a_true_minus() -> None:
    assert MEASURES["air_temp_c"].text(None, "si") == "–"
    assert MEASURES["air_temp_c"].text(-3.0, "si") == "−3.0"


def test_a_finding_says_value_and_limit_in_the_readers_units() -> None:
    told = SimpleNamespace(
        code="flue_temp_high", value=95.0, limit=90.0, unit="°C", probability=None,
        rests_on={"place": "high fire as found", "source": "the model's file"},
    )  # fmt: skip
    assert "95 °C at high fire as found, limit 90 °C" in sentence(told)
    assert "203 °F at high fire as found, limit 194 °F" in sentence(told, "us")


def test_a_finding_in_a_unit_that_both_systems_share_reads_the_same() -> None:
    told = SimpleNamespace(
        code="co_spike", value=812.0, limit=None, unit="ppm", probability=None, rests_on={}
    )
    assert sentence(told) == sentence(told, "us")


@pytest.mark.parametrize(("units", "shown"), [("si", "12.0\u00a0mbar"), ("us", "4.82\u00a0in WC")])
def test_advice_names_the_supply_in_the_readers_units(units: str, shown: str) -> None:
    row = {"code": "pressure_first", "value": 12.0, "limit": 17.0, "unit": "mbar"}
    row["text"] = supply_text(row["code"], row["value"], row["limit"], row["unit"])
    assert shown in advice_text(row, units)


def test_what_is_shown_by_its_unit_has_that_unit() -> None:
    assert all(measure.si.replace("m³", "m3") == unit for unit, measure in BY_UNIT.items())


def test_a_trend_is_said_in_the_readers_units() -> None:
    trend = BurnerTrend(
        quantity="inlet_pressure_mbar", readings=6, level=18.0, slope=-1.0, slope_low=-1.5, slope_high=-0.5
    )
    assert "−1.00 mbar a year (95 %: −1.50 to −0.50)" in trend_sentence(trend)
    assert "−0.401 in WC a year (95 %: −0.602 to −0.201)" in trend_sentence(trend, units="us")


def test_a_cost_is_said_in_the_readers_units() -> None:
    reach = Reach(2930.7, 1465.4, 4396.1)
    total = Total(3, 2, 0, 0, 0, energy_kwh=reach, co2_kg=reach, money={})
    assert "2,900 kWh of gas" in total_sentence(total)
    assert "lose 100 therm of gas a year against their targets (95 %: 50 to 150 therm)" in total_sentence(
        total, units="us"
    )


def a_trim(unit: str) -> TrimDrift:
    return TrimDrift(
        trim="offset", unit=unit, wander_probability=0.97, flagged=True, moved_per_year=2.5,
        usual_per_year=0.25, from_analyser_per_year=0.0, from_gas_per_year=0.0, drift_per_year=-0.5,
        drift_low=-1.0, drift_high=0.1,
    )  # fmt: skip


def test_an_offset_trim_is_said_in_the_readers_units() -> None:
    # by hand, 1 Pa = 0.004014631 in WC: 2.5 -> 0.01004, 0.25 -> 0.00100, -0.5 -> -0.00201, 0.1 -> 0.00040
    assert "Moved 2.5 Pa a year against 0.25 Pa for its peers" in trim_sentence(a_trim("pa"))
    said = trim_sentence(a_trim("pa"), units="us")
    assert "Moved 0.01 in WC a year against 0.001 in WC for its peers" in said
    assert "Drifts −0.002 in WC a year (95 %: −0.004 to +0.0004)." in said


@pytest.mark.parametrize("unit", ["pct_k", "milli_w"])
def test_a_trim_without_a_pressure_is_said_alike_in_both_systems(unit: str) -> None:
    assert trim_sentence(a_trim(unit), units="us") == trim_sentence(a_trim(unit))


def test_a_trims_state_has_three_decimals_more_in_inches_of_water() -> None:
    assert trim_scale("pa", "si").text(-1.26, 1, signed=True) == "−1.3"
    assert trim_scale("pa", "us").text(-1.26, 1, signed=True) == "−0.0051"


def test_two_digits_are_never_written_with_an_exponent() -> None:
    written = [two_digits(value) for value in (0.0, 0.0000481, 0.5, -0.04, 9.96, 123.0, 12_345.0)]
    assert written == ["0", "0.000048", "0.5", "−0.04", "10", "120", "12000"]
