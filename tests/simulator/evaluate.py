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
from tests.simulator.rule import band_that_flags, flagged_beyond, two_of_last_four

LEAST_READINGS = 30
YEAR_DAYS = 365.25


@dataclass(frozen=True)
class Found:
    """What flags find: share of the wanderers, share of the flags that are false, flags."""

    recall: float
    false_share: float
    flags: int


@dataclass(frozen=True)
class Score:
    """One fleet's results: what the statistics find, and the usual rule with its band, with the band widened
    until it flags one in ten, and until it flags as many as the statistics.

    forecast (10, 3): forecasts, mean probability and share outside per tenth.
    """

    own: Found
    rule: Found
    rule_tenth: Found
    rule_as_many: Found
    bias_rms_co2_pct: float
    forecast: np.ndarray


def score(options: Options, seed: int) -> Score:
    fleet = simulate(options, seed)
    bands = bands_of(fleet)
    drift = estimate_fleet(history_of(fleet), bands)
    wanders = fleet.truth.wanders.any(axis=1)
    own = _found(drift.appliance_flagged, wanders)

    def widened(most: int) -> Found:
        return _found(flagged_beyond(fleet, band_that_flags(fleet, most)), wanders)

    return Score(
        own=own,
        rule=_found(two_of_last_four(fleet), wanders),
        rule_tenth=widened(options.appliances // 10),
        rule_as_many=widened(own.flags),
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
    outside = outside_a_year_on(fleet)
    known = np.isfinite(chance)
    tenth = np.minimum((chance[known] * 10).astype(int), 9)
    sums = [
        np.bincount(tenth, w, minlength=10) for w in (np.ones(known.sum()), chance[known], outside[known])
    ]
    count = np.maximum(sums[0], 1.0)
    return np.stack([sums[0], sums[1] / count, sums[2] / count], axis=1)


def outside_a_year_on(fleet: Fleet) -> np.ndarray:
    """Whether each burner is out of its band at either point a year after its last visit (A,)."""
    target = np.array([TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT])
    off = np.abs(fleet.truth.co2_next - target)
    return np.asarray((off > fleet.options.acceptance_co2_pct).any(axis=1))


def _found(flags: np.ndarray, wanders: np.ndarray) -> Found:
    recall = float(flags[wanders].mean()) if wanders.any() else float("nan")
    false_share = float((flags & ~wanders).sum() / max(flags.sum(), 1))
    return Found(recall, false_share, int(flags.sum()))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--appliances", type=int, help="instead of the scenario's own number")
    parser.add_argument("--scenario", action="append", choices=list(SCENARIOS), help="all by default")
    args = parser.parse_args()
    print(
        "| scenario | fleets | recall | false, mean | worst | flags | 2 of 4: recall | false "
        "| one in ten: recall | false | as many: recall | false | bias RMS |"
    )
    print("|---" * 13 + "|", flush=True)
    tables = {}
    for name in args.scenario or SCENARIOS:
        options = SCENARIOS[name]
        if args.appliances and "appliances" not in name:
            options = options.but(appliances=args.appliances)
        scores = [score(options, args.first_seed + seed) for seed in range(args.seeds)]
        tables[name] = np.stack([s.forecast for s in scores])
        print(_row(name, scores), flush=True)
    for name, table in tables.items():
        print(f"\nForecast, {name}: tenth, forecasts, mean probability, share outside, its standard error")
        for tenth, (count, mean, outside) in enumerate(pooled(table)):
            u = np.sqrt(outside * (1.0 - outside) / max(count, 1.0))
            print(f"| {tenth / 10:.1f} | {count:.0f} | {mean:.3f} | {outside:.3f} | {u:.3f} |")


def pooled(tables: np.ndarray) -> np.ndarray:
    """Forecast tables of several fleets (F, 10, 3) as one (10, 3)."""
    count = tables[:, :, :1]
    total = count.sum(axis=0)
    return np.concatenate([total, (tables[:, :, 1:] * count).sum(axis=0) / np.maximum(total, 1.0)], axis=1)


def _row(name: str, scores: list[Score]) -> str:
    def mean(kind: str, field: str) -> float:
        return float(np.mean([getattr(getattr(s, kind), field) for s in scores]))

    def both(kind: str) -> str:
        return f"{mean(kind, 'recall'):.3f} | {mean(kind, 'false_share'):.3f}"

    worst = max(s.own.false_share for s in scores)
    bias = float(np.mean([s.bias_rms_co2_pct for s in scores]))
    return (
        f"| {name} | {len(scores)} | {both('own')} | {worst:.3f} | {mean('own', 'flags'):.0f} "
        f"| {both('rule')} | {both('rule_tenth')} | {both('rule_as_many')} | {bias:.4f} |"
    )


if __name__ == "__main__":
    main()
