"""First-order uncertainty (GUM) against Monte Carlo, which is only ever the oracle."""

from __future__ import annotations

import numpy as np
import pytest

from combustion.flue_gas import QUANTITIES, flue_gas_state
from combustion.fuels import FUELS
from combustion.gum import Quantity, choose
from combustion.readings import MEASURED, Readings

TRIALS = 200_000  # the standard error of a standard deviation is then 0.16 %
MEAN = {
    "o2_pct": 4.2,
    "co_ppm": 60.0,
    "nox_ppm": 35.0,
    "flue_temp_c": 75.0,
    "air_temp_c": 18.0,
    "air_rh_pct": 55.0,
    "pressure_hpa": 985.0,
}
U = {
    "o2_pct": 0.12,
    "co_ppm": 8.0,
    "nox_ppm": 2.5,
    "flue_temp_c": 1.0,
    "air_temp_c": 0.7,
    "air_rh_pct": 3.0,
    "pressure_hpa": 4.0,
}
CASES = {
    "dry flue": ("natural_gas", {}),
    "condensing": ("natural_gas", {"flue_temp_c": 42.0}),
    "propane, hot": ("propane", {"flue_temp_c": 190.0, "o2_pct": 7.0}),
    "hydrogen blend, cold": ("natural_gas_h2_20", {"flue_temp_c": 35.0, "air_temp_c": -5.0}),
}


def sampled(mean: dict[str, float], u: dict[str, float]) -> Readings:
    rng = np.random.default_rng(20)
    return Readings(**{name: rng.normal(mean[name], u[name], TRIALS) for name in mean}, co2_measured=True)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("channel", ["o2", "co2", "both"])
def test_first_order_is_within_two_per_cent_of_monte_carlo(case, channel):
    """JCGM 101 as the oracle; where u is 0 by first order, Monte Carlo must spread by rounding only."""
    slug, change = CASES[case]
    fuel, mean, u = FUELS[slug], MEAN | change, dict(U)
    if channel != "o2":
        mean["co2_pct"] = float(
            flue_gas_state(Readings(o2_pct=mean["o2_pct"], co_ppm=mean["co_ppm"]), fuel).value("co2_pct")
        )
        u["co2_pct"] = 0.1
    if channel == "co2":
        del mean["o2_pct"], u["o2_pct"]
    by_gum = flue_gas_state(
        Readings(**mean, **{f"u_{name}": s for name, s in u.items()}, co2_measured=True), fuel
    )
    if channel == "both":
        drawn = sampled(mean, u)
        trials = flue_gas_state(Readings(**{**vars(drawn), "u_o2_pct": 0.12, "u_co2_pct": 0.1}), fuel)
    else:
        trials = flue_gas_state(sampled(mean, u), fuel)
    for name in QUANTITIES:
        expected = float(np.std(trials.value(name)))
        got = float(by_gum.uncertainty(name))
        if np.isnan(got):
            assert np.isnan(expected), name
        else:
            assert got == pytest.approx(expected, rel=0.02, abs=1e-9), name


@pytest.mark.parametrize("name", sorted(set(MEASURED) - {"co2_pct"}))
def test_each_input_alone_moves_every_quantity_by_its_difference_quotient(name):
    """Sensitivities against central differences, one input at a time, in the condensing region."""
    mean = MEAN | {"flue_temp_c": 44.0}
    step = U[name] * 1e-3

    def value(quantity: str, shift: float) -> float:
        moved = Readings(**(mean | {name: mean[name] + shift}))
        return float(flue_gas_state(moved, FUELS["natural_gas"]).value(quantity))

    got = flue_gas_state(Readings(**mean, **{f"u_{name}": 1e-6}), FUELS["natural_gas"])
    for quantity in set(QUANTITIES) - {"fuel_line_residual_pct", "fo"}:
        slope = abs(value(quantity, step) - value(quantity, -step)) / (2.0 * step)
        assert float(got.uncertainty(quantity)) == pytest.approx(slope * 1e-6, rel=1e-4, abs=1e-13)


def test_shared_inputs_cancel_in_a_difference_and_add_in_a_sum():
    x = Quantity.measured("x", 2.0, 0.3)
    assert float((x - x).u) == 0.0
    assert float((x + x).u) == pytest.approx(0.6)
    assert float((x / x).u) == pytest.approx(0.0, abs=1e-15)


def test_arithmetic_with_numbers_on_either_side():
    x = Quantity.measured("x", 2.0, 0.1)
    for result, value, u in (
        (1.0 + x, 3.0, 0.1),
        (1.0 - x, -1.0, 0.1),
        (3.0 * x, 6.0, 0.3),
        (1.0 / x, 0.5, 0.025),
        (x - 1.0, 1.0, 0.1),
        (x / 4.0, 0.5, 0.025),
    ):
        assert float(result.value) == pytest.approx(value)
        assert float(result.u) == pytest.approx(u)


def test_an_exact_input_carries_no_sensitivity():
    exact = Quantity.measured("x", np.array([1.0, 2.0]), np.zeros(2))
    assert not exact.parts
    assert exact.u.tolist() == [0.0, 0.0]


def test_a_choice_keeps_each_rows_own_sensitivity():
    a, b = (
        Quantity.measured("a", np.array([1.0, 1.0]), 0.1),
        Quantity.measured("b", np.array([2.0, 2.0]), 0.2),
    )
    chosen = choose(np.array([True, False]), a, b)
    assert chosen.u.tolist() == pytest.approx([0.1, 0.2])
