"""What could be found at best: python -m tests.simulator.oracle [--seeds N] [--scenario NAME].

The same likelihood, told everything that the estimator has to find out: each period's bias, the month's gas,
turndown, pressure and noise as they are, and how usual and wandering movements are spread. Flags are then
the best that these readings allow, so a recall above its own is out of reach at the same false share.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from analytics.drift import wander
from analytics.drift.decomposition import Common, CommonSpread
from analytics.drift.discoveries import flags_by_probability
from analytics.drift.history import History
from analytics.drift.movement import first_guess
from analytics.drift.scoring import grid
from analytics.drift.steps import Steps, steps_of
from tests.simulator.arrays import history_of
from tests.simulator.fleet import TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT, Fleet, simulate
from tests.simulator.options import SCENARIOS, Options
from tests.simulator.physics import ln_phi_of_co2_pct

RATIOS = 81
WIDTH_CO2_PCT = 0.01


def recall_and_false_share(options: Options, seed: int, *, rate: float, knows_targets: bool) -> np.ndarray:
    """Recall and false share of one fleet at an expected false share of rate (2,).

    knows_targets: also that a trim set to a target was near it, which what was read as left is weighed with.
    """
    fleet = simulate(options, seed)
    history = _told(fleet, knows_targets)
    steps = steps_of(history.checked())
    chance = np.zeros(options.appliances)
    chance[history.appliance[steps.burner]] = _wandering(steps, options, history.model)
    flagged = flags_by_probability(chance, rate)
    wanders = fleet.truth.wanders.any(axis=1)
    false = (flagged & ~wanders).sum() / max(flagged.sum(), 1)
    return np.array([flagged[wanders].mean(), false])


def _told(fleet: Fleet, knows_targets: bool) -> History:
    """The fleet's history with true bias and gas taken off and true turndown, pressure and noise."""
    o, visits, truth = fleet.options, fleet.visits, fleet.truth
    bias = truth.bias_co2_pct[visits.period][:, None]
    gas = truth.gas[visits.area, visits.month][:, None]
    noise = o.noise_co2_pct / np.sqrt(o.readings)
    var = np.full(visits.found_co2_pct.shape, noise**2 + 10.0 ** (-2 * o.decimals) / 12.0)
    left, left_var = visits.left_co2_pct, var
    if knows_targets:
        target = np.array([TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT])
        share = noise**2 / (2.0 * noise**2 + o.adjust_scatter_co2_pct**2)
        left = np.where(visits.adjusted, left - share * (left - target), left)
        left_var = np.where(visits.adjusted, (1.0 - share) * var, var)

    def phi(shown: np.ndarray, of: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        true = shown - bias
        slope = ln_phi_of_co2_pct(true + WIDTH_CO2_PCT) - ln_phi_of_co2_pct(true - WIDTH_CO2_PCT)
        return np.exp(ln_phi_of_co2_pct(true) - gas), of * (slope / (2.0 * WIDTH_CO2_PCT)) ** 2

    found_phi, found_var = phi(visits.found_co2_pct, var)
    left_phi, left_var = phi(left, left_var)
    rate = 1.0 / truth.turndown[visits.appliance]
    return replace(
        history_of(fleet),
        found_phi=found_phi,
        found_var=found_var,
        left_phi=left_phi,
        left_var=left_var,
        low_air_rate=np.stack([rate, rate], axis=1),
        control_pressure_pa=truth.signal_pa,
    )


def _wandering(steps: Steps, options: Options, model: np.ndarray) -> np.ndarray:
    """Posterior that either trim of a stretch wanders (U,), under the simulator's own spreads."""
    movement = first_guess(int(model.max()) + 1)
    usual = np.array([100.0 * options.throttle_spread, options.offset_spread_pa])
    table = grid(steps, _nothing_common(steps), replace(movement, reference=usual), model)
    fine, _ = wander.fine_likelihood(table)
    log = np.log(wander.FINE)
    ratio = np.log(np.linspace(*options.wander_ratio, RATIOS))
    spread = max(options.spread_between, 0.05)
    calm = np.exp(-0.5 * (log / spread) ** 2)
    loud = np.exp(-0.5 * ((log[:, None] - ratio) / spread) ** 2).sum(axis=1)
    groups = np.stack([calm / calm.sum(), loud / loud.sum()]).astype(np.float32)
    table = groups @ (fine @ groups.T)
    share = options.wander_share
    if options.wander_trims == "one":
        loud_part = 0.5 * share * (table[:, 1, 0] + table[:, 0, 1])
    else:
        loud_part = share * table[:, 1, 1]
    return np.asarray(loud_part / (loud_part + (1.0 - share) * table[:, 0, 0]))


def _nothing_common(steps: Steps) -> Common:
    none, zero = np.zeros(0), np.zeros(steps.count)
    both = np.zeros((steps.count, 2))
    return Common(
        *(none, none, none, none, none, none), 0.0, 0.0, CommonSpread(), both, zero, zero, zero.copy()
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--first-seed", type=int, default=2000)
    parser.add_argument("--rate", type=float, default=0.05)
    parser.add_argument("--scenario", action="append", choices=list(SCENARIOS))
    args = parser.parse_args()
    seeds = range(args.first_seed, args.first_seed + args.seeds)
    print("| scenario | knows targets | fleets | recall | false |\n|---|---|---|---|---|")
    for name in args.scenario or ["base", "mean of three readings"]:
        for knows in (False, True):
            got = [
                recall_and_false_share(SCENARIOS[name], seed, rate=args.rate, knows_targets=knows)
                for seed in seeds
            ]
            recall, false = np.mean(got, axis=0)
            word = "yes" if knows else "no"
            print(f"| {name} | {word} | {len(got)} | {recall:.3f} | {false:.3f} |", flush=True)


if __name__ == "__main__":
    main()
