"""What a burner out of tune costs: against published tables and formulas, and whether its interval holds."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from combustion.arrays import F64
from combustion.balance import o2_from_phi, phi_from_o2
from combustion.errors import OutOfRange
from combustion.flue_gas import flue_gas_state
from combustion.fuels import FUELS
from combustion.gum import Quantity
from combustion.published import short_formula
from combustion.readings import Readings
from combustion.tuning import (
    APPROACH_RESPONSE,
    U_APPROACH_RESPONSE,
    Firing,
    LoadSplit,
    YearlyUse,
    lost_share,
    yearly_loss,
)
from tests.combustion.published import table

GAS = FUELS["natural_gas"]
HALF = LoadSplit(np.array(0.5), np.array(0.0), np.array(0.0))


def firing(o2_pct: object, target_o2_pct: object, **more: object) -> Firing:
    """Both points alike unless pairs are given; certain, dry and without a return unless said."""
    rows = len(np.atleast_2d(o2_pct)) if np.ndim(o2_pct) == 2 else np.size(o2_pct)

    def pairs(value: object) -> F64:
        array = np.asarray(value, float)
        return np.broadcast_to(array if array.ndim == 2 else array.reshape(-1, 1), (rows, 2))

    given = {"flue_temp_c": 180.0, "air_temp_c": 20.0, "co_ppm": 0.0, "approach_k": 0.0}
    given |= dict.fromkeys(("u_own", "u_analyser", "u_gas", "u_air"), 0.0) | more
    u_flue_k = np.broadcast_to(np.asarray(given.pop("u_flue_k", 0.0), float), (rows,))
    phi, target = (phi_from_o2(pairs(one), GAS)[0] for one in (o2_pct, target_o2_pct))
    return Firing(np.log(phi), np.log(target), **{n: pairs(v) for n, v in given.items()}, u_flue_k=u_flue_k)


def test_the_share_lost_agrees_with_the_published_table_of_excess_air_and_efficiency():
    """US DOE Steam Tip Sheet 4 (READ): natural gas, each step of excess air at one stack temperature rise.

    Its efficiencies are printed to 0.1 and lie 0.3 to 0.7 points below the enthalpy balance: a difference of
    two of them is good to 0.2 points.
    """
    rows = {
        (float(r["O2_table"]), float(r["dT_F"])): float(r["eff_DOE"]) for r in table("doe_tip4_vs_enthalpy")
    }
    steps = []
    for rise_f in sorted({rise for _, rise in rows}):
        known = sorted(o2 for o2, rise in rows if rise == rise_f)
        steps += [(rise_f, leaner, less) for less, leaner in pairwise(known)]
    rise, o2, target = np.array(steps).T
    share = lost_share(firing(o2, target, flue_temp_c=20.0 + rise / 1.8), GAS, HALF)
    published = [1.0 - rows[o, r] / rows[t, r] for r, o, t in steps]
    assert len(steps) > 15
    assert np.asarray(share.value) == pytest.approx(published, abs=0.2e-2)


def test_the_share_lost_agrees_with_the_short_formula_above_the_dew_point():
    """Siegert's flue loss (1. BImSchV's constants, MEMORY), on net heat, with the latent loss beside it."""
    constants = short_formula(GAS)
    o2, target, rise = 6.0, 3.0, 160.0
    loss = [rise * (constants.siegert_a2 / (21.0 - one) + constants.siegert_b) for one in (o2, target)]
    by_formula = 1.0 - (100.0 - loss[0]) / (100.0 - loss[1])
    share = lost_share(firing(o2, target), GAS, HALF)
    assert float(share.value[0]) == pytest.approx(by_formula, rel=0.06)


def test_less_air_than_the_target_saves_and_a_rich_burner_gets_no_figure():
    share = lost_share(firing([2.0, 0.0], 4.0), GAS, HALF)
    assert share.value[0] < 0.0
    assert np.isnan(share.value[1])


def test_a_cooler_flue_at_less_air_adds_to_what_is_lost_and_condensing_multiplies_it():
    bare, followed = (lost_share(firing(6.0, 4.0, approach_k=a), GAS, HALF).value[0] for a in (0.0, 20.0))
    assert followed > bare
    dry, condensing = (
        lost_share(firing(6.0, 4.0, flue_temp_c=t, approach_k=10.0), GAS, HALF).value[0] for t in (70.0, 45.0)
    )
    assert condensing > 2.0 * dry


def test_what_both_points_share_is_added_before_it_is_squared():
    """One analyser off at both points alike: the same error twice, not two errors."""
    alike = lost_share(firing(5.0, 4.0, u_analyser=0.02), GAS, HALF)
    apart = lost_share(firing(5.0, 4.0, u_own=0.02), GAS, HALF)
    assert float(alike.u[0]) == pytest.approx(np.sqrt(2.0) * float(apart.u[0]), rel=1e-6)


def test_the_interval_holds_the_truth_as_often_as_it_says():
    """Truth planted in burners dry, condensing and between; everything that is doubted is drawn."""
    rng, n = np.random.default_rng(20), 5000
    target = np.log(phi_from_o2(np.full((n, 2), (4.0, 4.6)), GAS)[0])
    true_phi = target + rng.normal(0.0, 0.03, (n, 2))
    day_flue = rng.uniform(42.0, 75.0, (n, 1)) + np.array([8.0, 0.0])
    approach = rng.uniform(5.0, 20.0, (n, 1)) * np.array([1.5, 1.0])
    own, shared, gas, air, flue = 0.006, 0.012, 0.005, 0.007, 5.0
    split, use = LoadSplit(np.array(0.6), np.array(0.1), np.array(0.15)), (0.2, 0.5)

    seen = (
        true_phi
        + rng.normal(0.0, own, (n, 2))
        + rng.normal(0.0, np.sqrt(shared**2 + gas**2 + air**2), (n, 1))
    )
    both = np.ones((n, 2))
    as_seen = Firing(
        seen, target, day_flue, 18.0 * both, 30.0 * both, approach,
        own * both, shared * both, gas * both, air * both, np.full(n, flue),
    )  # fmt: skip
    loss = yearly_loss(lost_share(as_seen, GAS, split), YearlyUse(np.full(n, 3e5), *np.array(use)))

    year_flue = day_flue + rng.normal(0.0, flue, (n, 1))
    response = APPROACH_RESPONSE + rng.normal(0.0, U_APPROACH_RESPONSE, (n, 1))
    cooler = approach * np.expm1(response * (true_phi - target))
    low = np.clip(0.6 + rng.normal(0.0, np.hypot(0.1, 0.15), n), 0.0, 1.0)
    spread = np.sqrt(np.log1p(use[0] ** 2 + use[1] ** 2))
    kwh = 3e5 * np.exp(rng.normal(-0.5 * spread**2, spread, n))
    truth = kwh * _share(true_phi, year_flue, target, year_flue + cooler, low)

    inside = (loss.low <= truth) & (truth <= loss.high)
    # 5,000 draws at 0.95 have a standard error of 0.0031
    assert inside.mean() == pytest.approx(0.95, abs=0.012)
    # where condensing sets in the share bends most: worst there, and still 9 in 10
    for part in (day_flue[:, 1] < 50.0, np.abs(day_flue[:, 1] - 56.0) < 3.0, loss.low > 0.0):
        assert part.sum() > 200
        assert inside[part].mean() > 0.88


def _share(phi: F64, flue_c: F64, target: F64, target_flue_c: F64, low: F64) -> F64:
    """The share lost, written out once more."""
    efficiency = [
        flue_gas_state(
            Readings(
                o2_pct=o2_from_phi(np.exp(p), GAS).ravel(),
                flue_temp_c=t.ravel(),
                air_temp_c=18.0,
                co_ppm=30.0,
            ),
            GAS,
        )
        .value("efficiency_gross_pct")
        .reshape(p.shape)
        for p, t in ((phi, flue_c), (target, target_flue_c))
    ]
    lost = 1.0 - efficiency[0] / efficiency[1]
    return (1.0 - low) * lost[:, 0] + low * lost[:, 1]


def test_the_parts_of_a_loss_are_its_interval_and_a_negative_year_is_refused():
    share = Quantity(np.array([0.01]), {"own_high": np.array([0.001]), "analyser": np.array([0.0005])})
    loss = yearly_loss(share, YearlyUse(np.array([1e5]), np.array([0.02]), np.array([0.03])))
    u = np.sqrt(sum(part**2 for part in loss.parts.values()))
    assert float(loss.high[0] - loss.low[0]) == pytest.approx(2 * 1.96 * float(u[0]), rel=0.03)
    with pytest.raises(OutOfRange, match="kwh"):
        yearly_loss(share, YearlyUse(np.array([-1.0]), np.array([0.0]), np.array([0.0])))
