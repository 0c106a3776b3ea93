"""The flue-gas state: which channels enter, what is refused, what a stored record still says."""

from __future__ import annotations

import math

import numpy as np
import pytest

from combustion.balance import air_ratio_from_co2, air_ratio_from_o2, co2_from_o2, o2_from_co2
from combustion.errors import OutOfRange
from combustion.flue_gas import QUANTITIES, flue_gas_state
from combustion.fuels import FUELS, custom_fuel
from combustion.readings import AnalyserSetting, Readings

GAS, PROPANE, METHANE = FUELS["natural_gas"], FUELS["propane"], FUELS["methane"]
HYDROGEN = custom_fuel({"hydrogen": 1.0})
FULL = {
    "o2_pct": 3.8,
    "co_ppm": 40.0,
    "nox_ppm": 30.0,
    "flue_temp_c": 62.0,
    "air_temp_c": 18.0,
    "air_rh_pct": 50.0,
    "pressure_hpa": 1000.0,
}


def value(state, name, row=None):
    values = state.value(name)
    return float(values if row is None else values[row])


def test_a_full_reading_gives_every_quantity_but_the_two_channel_ones():
    state = flue_gas_state(Readings(**FULL), GAS)
    missing = {name for name in QUANTITIES if math.isnan(value(state, name))}
    assert missing == {"fuel_line_residual_pct", "fo"}
    assert state.why("fo") == "one_measured_channel"
    assert state.why("air_ratio") is None
    assert state.assumed == ()


def test_methane_at_three_per_cent_oxygen_by_hand():
    """CH4 + 2 O2, dry: 2 (λ - 1) / (9.54654 λ - 1) = 0.03 gives λ = 1.97 / 1.7136038 = 1.14962."""
    state = flue_gas_state(Readings(o2_pct=3.0), METHANE)
    assert value(state, "air_ratio") == pytest.approx((2.0 - 0.03) / (2.0 - 0.03 * 2.0 / 0.2095), rel=1e-12)
    assert value(state, "co2_pct") == pytest.approx(100.0 / (1.14962 * 9.54654 - 1.0), abs=1e-3)


def test_defaults_are_named():
    state = flue_gas_state(Readings(o2_pct=3.8, flue_temp_c=60.0, air_temp_c=20.0), GAS)
    assert state.assumed == ("co_ppm", "air_rh_pct", "pressure_hpa")
    given = Readings(
        o2_pct=3.8, flue_temp_c=60.0, air_temp_c=20.0, co_ppm=0.0, air_rh_pct=0.0, pressure_hpa=1013.25
    )
    again = flue_gas_state(given, GAS)
    assert value(again, "efficiency_gross_pct") == value(state, "efficiency_gross_pct")


def test_zero_oxygen_without_carbon_monoxide_is_stoichiometric_and_not_rich():
    state = flue_gas_state(Readings(o2_pct=0.0, co_ppm=0.0), GAS)
    assert value(state, "air_ratio") == pytest.approx(1.0, abs=1e-12)
    assert "rich" not in state.codes()


def test_zero_oxygen_with_carbon_monoxide_is_rich_and_says_what_can_be_said():
    state = flue_gas_state(Readings(**(FULL | {"o2_pct": 0.0, "co_ppm": 5000.0})), GAS)
    assert "rich" in state.codes()
    assert value(state, "air_ratio") < 1.0
    assert value(state, "co_co2_ratio") == pytest.approx(0.043, abs=2e-3)
    assert value(state, "co_air_free_ppm") > 0.0
    for name in ("efficiency_gross_pct", "dew_point_c", "co_mg_per_kwh_net", "condensed_pct"):
        assert math.isnan(value(state, name))
        assert state.why(name) == "rich"


def test_a_derived_co2_beside_oxygen_is_ignored():
    with_co2 = flue_gas_state(Readings(**FULL, co2_pct=5.0), GAS)
    without = flue_gas_state(Readings(**FULL), GAS)
    assert np.array_equal(with_co2.values, without.values, equal_nan=True)
    assert with_co2.why("fuel_line_residual_pct") == "one_measured_channel"


def test_a_derived_co2_alone_goes_back_through_the_analysers_own_fuel():
    """An analyser set to propane on natural gas: CO2 13.72 (1 - 5/20.95) was shown for 5 % O2."""
    shown = PROPANE.co2_max_pct * (1.0 - 5.0 / 20.95)
    state = flue_gas_state(Readings(co2_pct=shown), GAS, setting=AnalyserSetting.of(PROPANE))
    assert value(state, "o2_pct") == pytest.approx(5.0, abs=1e-9)
    assert value(state, "air_ratio") == pytest.approx(float(air_ratio_from_o2(5.0, GAS)), abs=1e-9)


def test_a_short_formula_with_other_air_goes_back_too():
    state = flue_gas_state(
        Readings(co2_pct=11.8 * (1.0 - 4.0 / 21.0)), GAS, setting=AnalyserSetting(11.8, 21.0)
    )
    assert value(state, "o2_pct") == pytest.approx(4.0, abs=1e-9)


def test_a_measured_co2_alone_uses_the_fuel_burnt():
    state = flue_gas_state(Readings(co2_pct=9.0, co2_measured=True, co_ppm=50.0), GAS)
    assert value(state, "air_ratio") == pytest.approx(float(air_ratio_from_co2(9.0, GAS, 50.0)), abs=1e-9)
    assert value(state, "o2_pct") == pytest.approx(float(o2_from_co2(9.0, GAS, 50.0)), abs=1e-9)
    assert value(state, "co2_pct") == pytest.approx(9.0, abs=1e-9)


def test_a_derived_oxygen_is_set_aside_for_a_measured_co2():
    state = flue_gas_state(Readings(o2_pct=1.0, o2_measured=False, co2_pct=9.0, co2_measured=True), GAS)
    assert value(state, "co2_pct") == pytest.approx(9.0, abs=1e-9)


def test_a_derived_oxygen_alone_goes_back_to_the_co2_behind_it():
    shown = 20.95 * (1.0 - 9.0 / PROPANE.co2_max_pct)
    state = flue_gas_state(
        Readings(o2_pct=shown, o2_measured=False), GAS, setting=AnalyserSetting.of(PROPANE)
    )
    assert value(state, "co2_pct") == pytest.approx(9.0, abs=1e-9)


def test_two_measured_channels_meet_on_the_fuel_line_by_their_uncertainties():
    o2, co2 = 4.0, float(co2_from_o2(4.0, GAS)) + 0.2
    both = Readings(o2_pct=o2, co2_pct=co2, co2_measured=True, u_o2_pct=0.1, u_co2_pct=0.1)
    state = flue_gas_state(both, GAS)
    assert value(state, "fuel_line_residual_pct") == pytest.approx(0.2, abs=1e-9)
    assert value(state, "co2_pct") == pytest.approx(float(co2_from_o2(value(state, "o2_pct"), GAS)), abs=1e-9)
    # weighted least squares, brute force along the line
    line = np.linspace(3.0, 4.5, 150_001)
    cost = ((line - o2) / 0.1) ** 2 + ((co2_from_o2(line, GAS) - co2) / 0.1) ** 2
    assert value(state, "o2_pct") == pytest.approx(float(line[np.argmin(cost)]), abs=2e-5)
    # and its uncertainty is that of the weighted mean
    slope = GAS.co2_max_pct / 20.95
    expected = (0.1**-2 + (0.1 / slope) ** -2) ** -0.5
    assert float(state.uncertainty("o2_pct")) == pytest.approx(expected, rel=1e-9)


def test_two_exact_channels_share_the_gap():
    state = flue_gas_state(Readings(o2_pct=4.0, co2_pct=9.7, co2_measured=True), GAS)
    from_co2 = float(o2_from_co2(9.7, GAS))
    assert value(state, "o2_pct") == pytest.approx((4.0 + from_co2) / 2.0)


def test_propane_read_as_natural_gas_is_a_residual_and_not_an_error():
    """Propane at air ratio 1.2: 3.754 % O2, 11.261 % CO2."""
    both = Readings(o2_pct=3.754, co2_pct=11.261, co2_measured=True, u_o2_pct=0.15, u_co2_pct=0.15)
    state = flue_gas_state(both, GAS)
    assert value(state, "fuel_line_residual_pct") == pytest.approx(1.55, abs=0.01)
    assert value(state, "fo") == pytest.approx((20.9 - 3.754) / 11.261)
    assert float(state.uncertainty("fuel_line_residual_pct")) == pytest.approx(0.172, abs=1e-3)


def test_dilution_by_air_leaves_no_residual():
    true_o2, true_co2 = 4.0, float(co2_from_o2(4.0, GAS))
    diluted = Readings(o2_pct=0.8 * true_o2 + 0.2 * 20.95, co2_pct=0.8 * true_co2, co2_measured=True)
    assert value(flue_gas_state(diluted, GAS), "fuel_line_residual_pct") == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "field", "code"),
    [
        ({"o2_pct": 20.95}, "o2_pct", "o2_above_ambient"),
        ({"o2_pct": 25.0}, "o2_pct", "o2_above_ambient"),
        ({"o2_pct": -0.1}, "o2_pct", "o2_negative"),
        ({"o2_pct": math.inf}, "o2_pct", "o2_above_ambient"),
        ({"o2_pct": None}, "o2_pct", "no_o2_or_co2"),
        ({"o2_pct": None, "co2_pct": 12.5}, "co2_pct", "co2_above_max"),
        ({"o2_pct": None, "co2_pct": 12.5, "co2_measured": True}, "co2_pct", "co2_above_max"),
        ({"co2_pct": -1.0}, "co2_pct", "co2_negative"),
        ({"o2_pct": 10.0, "co2_pct": 10.0, "co2_measured": True}, "co2_pct", "inconsistent_o2_co2"),
        ({"o2_pct": 3.0, "co2_pct": 5.0, "co2_measured": True}, "co2_pct", "inconsistent_o2_co2"),
        ({"co_ppm": -1.0}, "co_ppm", "co_out_of_range"),
        ({"co_ppm": 2e5}, "co_ppm", "co_out_of_range"),
        ({"nox_ppm": -1.0}, "nox_ppm", "nox_out_of_range"),
        ({"flue_temp_c": 701.0}, "flue_temp_c", "flue_temp_out_of_range"),
        ({"flue_temp_c": -41.0}, "flue_temp_c", "flue_temp_out_of_range"),
        ({"air_temp_c": 81.0}, "air_temp_c", "air_temp_out_of_range"),
        ({"air_rh_pct": 101.0}, "air_rh_pct", "air_rh_out_of_range"),
        ({"pressure_hpa": 400.0}, "pressure_hpa", "pressure_out_of_range"),
    ],
)
def test_what_cannot_be_is_refused_or_flagged(change, field, code):
    readings = FULL | change
    with pytest.raises(OutOfRange) as refused:
        flue_gas_state(Readings(**readings), GAS)
    assert (refused.value.field, refused.value.code, refused.value.index) == (field, code, None)

    rows = {name: v if isinstance(v, bool) else [FULL.get(name), v] for name, v in readings.items()}
    with pytest.raises(OutOfRange) as refused:
        flue_gas_state(Readings(**rows), GAS)
    assert refused.value.index == 1

    state = flue_gas_state(Readings(**rows), GAS, strict=False)
    assert state.codes(0) == ("one_measured_channel",)
    assert code in state.codes(1)
    assert value(state, "air_ratio", 0) == value(flue_gas_state(Readings(**FULL), GAS), "air_ratio")


def test_a_stored_row_above_ambient_oxygen_keeps_its_readings_and_names_why():
    rows = Readings(**(FULL | {"o2_pct": [3.8, 21.2]}))
    state = flue_gas_state(rows, GAS, strict=False)
    assert value(state, "o2_pct", 1) == 21.2
    assert state.why("air_ratio", 1) == "o2_above_ambient"
    assert state.why("efficiency_net_pct", 1) == "o2_above_ambient"
    assert value(state, "co2_max_pct", 1) == GAS.co2_max_pct


def test_a_contradiction_on_a_stored_row_gives_no_air_ratio_but_the_residual():
    rows = Readings(**FULL, co2_pct=3.0, co2_measured=True)
    state = flue_gas_state(rows, GAS, strict=False)
    assert state.why("air_ratio") == "inconsistent_o2_co2"
    assert value(state, "co2_pct") == 3.0


def test_missing_temperatures_block_only_what_needs_them():
    state = flue_gas_state(Readings(o2_pct=3.8), GAS)
    assert not math.isnan(value(state, "dew_point_c"))
    assert state.why("efficiency_gross_pct") == "no_flue_temp"
    assert state.why("siegert_loss_net_pct") == "no_flue_temp"
    humid = flue_gas_state(Readings(o2_pct=3.8, air_rh_pct=50.0), GAS)
    assert humid.why("dew_point_c") == "no_air_temp"
    assert humid.why("nox_ppm_at_3_o2") == "no_nox"


def test_every_missing_value_has_a_reason_and_no_uncertainty():
    rng = np.random.default_rng(3)

    def holes(low: float, high: float) -> np.ndarray:
        values = rng.uniform(low, high, 500)
        return np.where(rng.random(500) < 0.3, np.nan, values)

    rows = Readings(
        o2_pct=holes(-1, 23),
        co2_pct=holes(-1, 14),
        co2_measured=rng.random(500) < 0.5,
        o2_measured=rng.random(500) < 0.5,
        co_ppm=holes(-10, 5000),
        nox_ppm=holes(-5, 90),
        flue_temp_c=holes(-50, 720),
        air_temp_c=holes(-45, 85),
        air_rh_pct=holes(-5, 105),
        pressure_hpa=holes(490, 1110),
    )
    state = flue_gas_state(rows, GAS, strict=False)
    for row in range(500):
        for name in QUANTITIES:
            missing = math.isnan(state.value(name)[row])
            assert (state.why(name, row) is not None) == missing
            assert state.why(name, row) != "not_computable"
            assert math.isnan(state.uncertainty(name)[row]) == missing


def test_pure_hydrogen_has_no_carbon_dioxide_to_speak_of():
    state = flue_gas_state(Readings(**FULL), HYDROGEN)
    assert value(state, "co2_max_pct") == 0.0
    assert value(state, "air_ratio") > 1.0
    assert math.isnan(value(state, "co_co2_ratio"))
    with pytest.raises(OutOfRange, match="a fuel with carbon"):
        flue_gas_state(Readings(co2_pct=5.0), HYDROGEN)


def test_a_fuel_without_published_constants_has_no_siegert_loss():
    state = flue_gas_state(Readings(**FULL), custom_fuel({"hydrogen": 0.6, "methane": 0.4}))
    assert state.why("siegert_loss_net_pct") == "no_published_constants"
    assert not math.isnan(value(state, "nox_lb_per_mmbtu_method19"))


def test_flue_gas_colder_than_its_air_is_noted_and_still_computed():
    state = flue_gas_state(Readings(**(FULL | {"flue_temp_c": 10.0})), GAS)
    assert "flue_colder_than_air" in state.codes()
    assert not math.isnan(value(state, "efficiency_gross_pct"))


def test_arrays_of_different_lengths_are_refused():
    with pytest.raises(OutOfRange, match="arrays of one length"):
        flue_gas_state(Readings(o2_pct=[3.0, 4.0], co_ppm=[1.0, 2.0, 3.0]), GAS)
    with pytest.raises(OutOfRange, match="one dimension"):
        flue_gas_state(Readings(o2_pct=[[3.0, 4.0]]), GAS)


def test_rows_do_not_depend_on_how_they_are_cut():
    n = 40_000
    o2 = np.linspace(0.5, 15.0, n)
    whole = flue_gas_state(Readings(**(FULL | {"o2_pct": o2})), GAS)
    for row in (0, 16_383, 16_384, n - 1):
        one = flue_gas_state(Readings(**(FULL | {"o2_pct": o2[row]})), GAS)
        assert np.allclose(whole.values[:, row], one.values[:, 0], rtol=1e-12, equal_nan=True)
    with pytest.raises(OutOfRange) as refused:
        flue_gas_state(Readings(o2_pct=np.where(np.arange(n) == 20_000, 21.0, o2)), GAS)
    assert refused.value.index == 20_000


def test_no_rows_give_no_rows():
    assert flue_gas_state(Readings(o2_pct=[]), GAS).value("air_ratio").shape == (0,)


def test_hot_flue_gas_near_boiling_holds_all_its_water():
    state = flue_gas_state(Readings(**(FULL | {"flue_temp_c": [95.0, 100.0, 105.0, 300.0]})), GAS)
    assert state.value("condensed_pct").tolist() == [0.0] * 4


def test_method_19_stands_beside_the_mole_balance():
    """EPA's Fd of 8710 against 8654 of the composition, heat and oxygen alike: under 1 % apart."""
    state = flue_gas_state(Readings(**FULL), GAS)
    for pollutant in ("nox", "co"):
        balance, method19 = (value(state, f"{pollutant}_lb_per_mmbtu{s}") for s in ("", "_method19"))
        assert method19 / balance == pytest.approx(1.007, abs=3e-3)


def test_carbon_monoxide_is_unburnt_heat():
    clean, smoky = (flue_gas_state(Readings(**(FULL | {"co_ppm": ppm})), GAS) for ppm in (0.0, 1000.0))
    assert value(clean, "unburnt_loss_gross_pct") == 0.0
    assert value(smoky, "unburnt_loss_gross_pct") == pytest.approx(0.1 * 10.4 * 282.98 / 891.05, abs=0.01)
