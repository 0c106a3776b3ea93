"""Trim relation: the worked example, both directions, uncertainties against Monte Carlo, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from combustion.trims import (
    ln_common_factor,
    ln_intake_factor,
    move_to_targets,
    phi_after_move,
    phi_at,
    state_from_high_only,
    state_from_points,
)

SIGNAL_PA = 700.0
TURNDOWN = 5.0


def phi_of_co2(co2_pct):
    """Short relation for methane in dry air, phi = 9.52 c / (1 + c), c the dry CO2 fraction."""
    c = np.asarray(co2_pct) / 100.0
    return 9.52 * c / (1.0 + c)


def co2_of_phi(phi):
    return 100.0 * phi / (9.52 - phi)


def u_ln_phi(co2_pct, u_co2_pct):
    c = co2_pct / 100.0
    return u_co2_pct / 100.0 / (c * (1.0 + c))


@pytest.fixture
def worked_example():
    """CO2 9.0 / 8.8 %, turndown 5, u(CO2) 0.06 % on each point."""
    return state_from_points(
        phi_of_co2(9.0),
        phi_of_co2(8.8),
        TURNDOWN,
        u_ln_phi_high=u_ln_phi(9.0, 0.06),
        u_ln_phi_low=u_ln_phi(8.8, 0.06),
    )


def test_worked_example_gives_the_published_throttle_and_offset(worked_example):
    assert np.exp(worked_example.ln_k) == pytest.approx(0.786717, abs=1e-6)
    assert worked_example.offset_pa(SIGNAL_PA) == pytest.approx(-1.17730, abs=1e-5)


def test_worked_example_gives_the_published_uncertainties(worked_example):
    assert worked_example.u_ln_k == pytest.approx(0.00637, abs=5e-6)
    assert worked_example.u_offset_pa(SIGNAL_PA) == pytest.approx(0.489, abs=5e-4)


def test_one_percent_of_throttle_moves_both_points_as_published(worked_example):
    high, low = phi_after_move(worked_example, TURNDOWN, delta_ln_k=np.log(1.01))
    assert co2_of_phi(high) - 9.0 == pytest.approx(0.0982, abs=5e-5)
    assert co2_of_phi(low) - 8.8 == pytest.approx(0.0958, abs=5e-5)


def test_offset_moves_low_fire_about_turndown_squared_times_as_much(worked_example):
    before = phi_after_move(worked_example, TURNDOWN)
    after = phi_after_move(worked_example, TURNDOWN, delta_w=1e-5)
    ratio = np.log(after[1] / before[1]) / np.log(after[0] / before[0])
    assert ratio == pytest.approx(TURNDOWN**2, rel=0.06)


@given(
    ln_k=st.floats(-0.5, 0.0),
    w=st.floats(-0.004, 0.01),
    m=st.floats(1.5, 10.0),
    ln_g=st.floats(-0.05, 0.05),
)
def test_relation_goes_back_to_the_state_it_came_from(ln_k, w, m, ln_g):
    high, low = phi_at(ln_k, w, 1.0, ln_g), phi_at(ln_k, w, 1.0 / m, ln_g)
    state = state_from_points(high, low, m, ln_g=ln_g)
    assert state.ln_k == pytest.approx(ln_k, abs=1e-10)
    assert state.w == pytest.approx(w, abs=1e-10)


def test_first_order_covariance_agrees_with_monte_carlo():
    rng = np.random.default_rng(7)
    n = 400_000
    u_high, u_low, u_shared, u_m = 0.006, 0.007, 0.004, 0.05
    shared = rng.normal(0.0, u_shared, n)
    high = phi_of_co2(9.0) * np.exp(rng.normal(0.0, u_high, n) + shared)
    low = phi_of_co2(8.5) * np.exp(rng.normal(0.0, u_low, n) + shared)
    drawn = state_from_points(high, low, TURNDOWN * np.exp(rng.normal(0.0, u_m, n)))
    linear = state_from_points(
        phi_of_co2(9.0),
        phi_of_co2(8.5),
        TURNDOWN,
        u_ln_phi_high=u_high,
        u_ln_phi_low=u_low,
        u_shared=u_shared,
        u_ln_turndown=u_m,
    )
    assert linear.u_ln_k == pytest.approx(np.std(drawn.ln_k), rel=0.01)
    assert linear.u_w == pytest.approx(np.std(drawn.w), rel=0.02)
    assert linear.cov == pytest.approx(np.cov(drawn.ln_k, drawn.w)[0, 1], rel=0.03)


def test_common_factor_cancels_from_the_offset_and_leaves_the_throttle():
    plain = state_from_points(phi_of_co2(9.0), phi_of_co2(8.8), TURNDOWN)
    richer = state_from_points(1.01 * phi_of_co2(9.0), 1.01 * phi_of_co2(8.8), TURNDOWN, ln_g=np.log(1.01))
    assert richer.w == pytest.approx(plain.w, abs=1e-15)
    assert richer.ln_k == pytest.approx(plain.ln_k, abs=1e-12)


def test_twenty_kelvin_colder_ducted_air_costs_a_third_of_a_percent_of_co2():
    colder = ln_intake_factor(0.0) - ln_intake_factor(20.0)
    assert co2_of_phi(phi_of_co2(9.0) * np.exp(colder)) - 9.0 == pytest.approx(-0.34, abs=0.01)


def test_moisture_of_warm_air_adds_about_a_fifth_of_a_percent_of_co2():
    vapour_share = 0.6 * 4.247 / 101.325  # saturation 4.247 kPa at 30 °C (IAPWS-95 by CoolProp, COMPUTED)
    moist = ln_common_factor(dry_air_share=1.0 - vapour_share)
    density = -0.5 * np.log(
        1.0 - 0.378 * vapour_share
    )  # moist air is lighter, so the orifice passes more of it
    rise = co2_of_phi(phi_of_co2(9.0) * np.exp(moist - density)) - 9.0
    assert rise == pytest.approx(0.20, abs=0.03)


def test_high_fire_alone_keeps_the_prior_of_the_offset_in_the_throttle():
    state = state_from_high_only(phi_of_co2(9.0), u_ln_phi_high=0.006, u_w=0.004)
    assert state.u_ln_k == pytest.approx(np.hypot(0.006, 0.002))
    assert state.u_w == 0.004
    assert state.cov == pytest.approx(-0.5 * 0.004**2)


def test_moves_to_targets_arrive_there(worked_example):
    delta_ln_k, delta_w = move_to_targets(worked_example, phi_of_co2(9.2), phi_of_co2(8.7), TURNDOWN)
    high, low = phi_after_move(worked_example, TURNDOWN, delta_ln_k=delta_ln_k, delta_w=delta_w)
    assert co2_of_phi(high) == pytest.approx(9.2, abs=1e-9)
    assert co2_of_phi(low) == pytest.approx(8.7, abs=1e-9)


def test_arrays_pass_through_and_missing_stays_missing():
    state = state_from_points(np.array([0.78, np.nan]), np.array([0.77, 0.77]), 5.0)
    assert np.isfinite(state.ln_k[0])
    assert np.isnan(state.ln_k[1])


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: state_from_points(0.0, 0.7, 5.0), "phi_high is 0"),
        (lambda: state_from_points(0.7, 0.7, 1.0), "turndown is 1"),
        (lambda: state_from_points(0.1, 0.9, 5.0), "phi_low is 0.9"),
        (lambda: phi_at(0.0, -0.05, 0.2), "w is -0.05"),
        (lambda: phi_at(0.0, 0.0, 1.5), "air_rate is 1.5"),
        (lambda: ln_intake_factor(120.0), "air_temp_c is 120"),
        (lambda: state_from_high_only(0.7, w_expected=-1.0), "w_expected is -1"),
        (lambda: ln_common_factor(dry_air_share=1.2), "dry_air_share is 1.2"),
    ],
)
def test_impossible_input_is_refused_with_field_value_and_limit(call, field):
    with pytest.raises(ValueError, match=field) as caught:
        call()
    assert "it must be" in str(caught.value)
