"""Prints what the statistics reach on simulated fleets: python -m tests.simulator.evaluate --help."""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from analytics.drift.estimate import FleetDrift, estimate_fleet
from analytics.drift.forecast import Bands, probability_outside
from tests.simulator.arrays import history_of
from tests.simulator.fleet import TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT, Fleet, simulate
from tests.simulator.options import SCENARIOS, Options
from tests.simulator.physics import short_phi
from tests.simulator.rule import two_of_last_four

LEAST_READINGS = 30
YEAR_DAYS = 365.25


@dataclass(frozen=True)
class Score:
    """One fleet's results. forecast (10, 3): forecasts, mean probability and share outside per tenth."""

    recall: float
    false_share: float
    flags: int
    rule_recall: float
    rule_false_share: float
    bias_rms_co2_pct: float
    forecast: np.ndarray


def score(options: Options, seed: int) -> Score:
    fleet = simulate(options, seed)
    bands = bands_of(fleet)
    drift = estimate_fleet(history_of(fleet), bands)
    wanders = fleet.truth.wanders.any(axis=1)
    rule = two_of_last_four(fleet)
    return Score(
        recall=_recall(drift.appliance_flagged, wanders),
        false_share=_false_share(drift.appliance_flagged, wanders),
        flags=int(drift.appliance_flagged.sum()),
        rule_recall=_recall(rule, wanders),
        rule_false_share=_false_share(rule, wanders),
        bias_rms_co2_pct=bias_rms(fleet, drift),
        forecast=forecast_table(fleet, drift, bands),
    )


def bands_of(fleet: Fleet) -> Bands:
    """Acceptance of every burner, as phi by the short relation that the readings are read with."""
    target = np.array([TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT])
    half, n = fleet.options.acceptance_co2_pct, fleet.options.appliances
    return Bands(np.tile(short_phi(target - half), (n, 1)), np.tile(short_phi(target + half), (n, 1)))


def bias_rms(fleet: Fleet, drift: FleetDrift) -> float:
    periods = len(drift.periods.bias_co2_pct)
    enough = fleet.truth.tests[:periods] >= LEAST_READINGS
    error = drift.periods.bias_co2_pct - fleet.truth.bias_co2_pct[:periods]
    return float(np.sqrt(np.mean(error[enough] ** 2)))


def forecast_table(fleet: Fleet, drift: FleetDrift, bands: Bands) -> np.ndarray:
    """Forecasts a year after the last visit against what came (10, 3)."""
    n = fleet.options.appliances
    chance = probability_outside(drift.outlook, bands, np.full(n, YEAR_DAYS))
    target = np.array([TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT])
    outside = (np.abs(fleet.truth.co2_next - target) > fleet.options.acceptance_co2_pct).any(axis=1)
    known = np.isfinite(chance)
    tenth = np.minimum((chance[known] * 10).astype(int), 9)
    sums = [
        np.bincount(tenth, w, minlength=10) for w in (np.ones(known.sum()), chance[known], outside[known])
    ]
    count = np.maximum(sums[0], 1.0)
    return np.stack([sums[0], sums[1] / count, sums[2] / count], axis=1)


def _recall(flags: np.ndarray, wanders: np.ndarray) -> float:
    return float(flags[wanders].mean()) if wanders.any() else float("nan")


def _false_share(flags: np.ndarray, wanders: np.ndarray) -> float:
    return float((flags & ~wanders).sum() / max(flags.sum(), 1))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--appliances", type=int, help="instead of the scenario's own number")
    parser.add_argument("--scenario", action="append", choices=list(SCENARIOS), help="all by default")
    args = parser.parse_args()
    print("| scenario | fleets | recall | false, mean | worst | flags | 2 of 4: recall | false | bias RMS |")
    print("|---|---|---|---|---|---|---|---|---|", flush=True)
    tables = {}
    for name in args.scenario or SCENARIOS:
        options = SCENARIOS[name]
        if args.appliances and "appliances" not in name:
            options = options.but(appliances=args.appliances)
        scores = [score(options, args.first_seed + seed) for seed in range(args.seeds)]
        tables[name] = np.stack([s.forecast for s in scores])
        print(_row(name, scores), flush=True)
    for name, table in tables.items():
        print(f"\nForecast, {name}: tenth, forecasts, mean probability, share outside")
        total = table[:, :, 0].sum(axis=0)
        mean = (table[:, :, 1:] * table[:, :, :1]).sum(axis=0) / np.maximum(total, 1.0)[:, None]
        for tenth in range(10):
            print(f"| {tenth / 10:.1f} | {total[tenth]:.0f} | {mean[tenth, 0]:.3f} | {mean[tenth, 1]:.3f} |")


def _row(name: str, scores: list[Score]) -> str:
    def mean(field: str) -> float:
        return float(np.mean([getattr(s, field) for s in scores]))

    worst = max(s.false_share for s in scores)
    return (
        f"| {name} | {len(scores)} | {mean('recall'):.3f} | {mean('false_share'):.3f} | {worst:.3f} "
        f"| {mean('flags'):.0f} | {mean('rule_recall'):.3f} | {mean('rule_false_share'):.3f} "
        f"| {mean('bias_rms_co2_pct'):.4f} |"
    )


if __name__ == "__main__":
    main()
