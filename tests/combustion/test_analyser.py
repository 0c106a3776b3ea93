"""Analyser classes, corrections, and what they give the readings."""

from __future__ import annotations

import numpy as np
import pytest

from combustion.analyser import (
    EN_50379,
    AccuracyClass,
    ErrorLimit,
    corrected_reading,
    derived_co2_u_pct,
    with_class_uncertainty,
)
from combustion.errors import OutOfRange
from combustion.flue_gas import flue_gas_state
from combustion.fuel_line import fault_probability, residual_pct, u_residual_pct
from combustion.fuels import FUELS
from combustion.readings import AnalyserSetting, Readings

GAS = FUELS["natural_gas"]


def test_ranges_follow_one_another_without_a_gap():
    """EN 50379-2 (MEMORY): CO 20 ppm to 400, 5 % to 2000, 10 % above."""
    got = EN_50379.error_limit("co_ppm", [0.0, 400.0, 401.0, 2000.0, 2001.0, np.nan])
    assert got[:5].tolist() == pytest.approx([20.0, 20.0, 20.05, 100.0, 200.1])
    assert np.isnan(got[5])


def test_an_unknown_channel_is_refused_by_name():
    with pytest.raises(OutOfRange, match="one of o2_pct"):
        EN_50379.error_limit("so2_ppm", 1.0)


def test_both_parts_of_a_fresh_reading_make_up_the_class():
    fresh = corrected_reading("o2_pct", [4.0, 9.0])
    assert fresh.u.tolist() == pytest.approx([0.15, 0.15])
    assert fresh.value.tolist() == [4.0, 9.0]


def test_age_widens_only_the_shared_part():
    fresh, old, unknown = (corrected_reading("co2_pct", 9.0, age_days=d) for d in (365.0, 730.0, np.nan))
    assert float(old.u_shared) == pytest.approx(1.5 * float(fresh.u_shared))
    assert float(unknown.u_shared) == pytest.approx(2.0 * float(fresh.u_shared))
    assert float(old.u_independent) == float(fresh.u_independent)


def test_a_known_bias_is_taken_off_and_leaves_its_own_uncertainty():
    got = corrected_reading("co2_pct", [9.0, 9.0], bias=[0.2, np.nan], u_bias=[0.03, 0.03])
    assert got.value.tolist() == pytest.approx([8.8, 9.0])
    assert got.u_shared[0] == pytest.approx(0.03)
    assert got.u_shared[1] == pytest.approx(0.15 * np.sqrt(1.0 - 0.16))


def test_a_missing_reading_stays_missing():
    got = corrected_reading("flue_temp_c", np.nan)
    assert np.isnan(got.value)
    assert np.isnan(got.u)


def test_impossible_ages_and_uncertainties_are_refused():
    with pytest.raises(OutOfRange, match="age_days"):
        corrected_reading("o2_pct", 4.0, age_days=-1.0)
    with pytest.raises(OutOfRange, match="u_bias"):
        corrected_reading("o2_pct", 4.0, bias=0.1, u_bias=-0.1)


def test_another_class_takes_the_place_of_the_default():
    fine = AccuracyClass("laboratory", "none, a test", {"o2_pct": (ErrorLimit(np.inf, 0.1),)})
    assert float(corrected_reading("o2_pct", 4.0, accuracy=fine).u) == pytest.approx(0.05)


def test_a_derived_co2_inherits_the_oxygen_cells_uncertainty():
    setting = AnalyserSetting.of(GAS)
    assert float(derived_co2_u_pct(0.15, setting)) == pytest.approx(0.15 * GAS.co2_max_pct / 20.95)
    derived = with_class_uncertainty(Readings(co2_pct=9.0), setting=setting)
    by_o2 = with_class_uncertainty(Readings(o2_pct=20.95 * (1.0 - 9.0 / GAS.co2_max_pct)))
    got, expected = (float(flue_gas_state(r, GAS).uncertainty("air_ratio")) for r in (derived, by_o2))
    assert got == pytest.approx(expected, rel=1e-9)


def test_a_measured_co2_has_the_class_of_its_own_channel():
    readings = with_class_uncertainty(
        Readings(co2_pct=9.0, co2_measured=True), setting=AnalyserSetting.of(GAS)
    )
    assert float(readings.u_co2_pct) == 0.15
    assert readings.u_o2_pct == 0.0


def test_a_residual_of_noise_is_no_fault_and_one_of_another_fuel_is():
    u = float(u_residual_pct(0.15, 0.15, GAS))
    assert float(fault_probability(0.5 * u, u)) < 0.01
    propane_on_gas = float(residual_pct(3.754, 11.261, GAS))
    assert float(fault_probability(propane_on_gas, u)) > 0.999


def test_the_fault_probability_is_bayes_rule():
    u, spread, prior, residual = 0.2, 1.5, 0.05, 0.6
    fine = np.exp(-0.5 * (residual / u) ** 2) / u * (1.0 - prior)
    wide = np.hypot(u, spread)
    fault = np.exp(-0.5 * (residual / wide) ** 2) / wide * prior
    got = fault_probability(residual, u, prior=prior, fault_spread_pct=spread)
    assert float(got) == pytest.approx(fault / (fault + fine), rel=1e-12)


def test_a_residual_agrees_with_the_state_and_needs_an_uncertainty():
    state = flue_gas_state(Readings(o2_pct=4.0, co2_pct=9.8, co2_measured=True, co_ppm=80.0), GAS)
    assert float(state.value("fuel_line_residual_pct")) == pytest.approx(
        float(residual_pct(4.0, 9.8, GAS, 80.0))
    )
    with pytest.raises(OutOfRange, match="u_residual_pct"):
        fault_probability(1.0, 0.0)
    with pytest.raises(OutOfRange, match="prior"):
        fault_probability(1.0, 0.1, prior=0.0)
