"""What a screen shows in each system of units, against constants of an independent library."""

import pytest
from scipy import constants

from fleet.units import MEASURES
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
