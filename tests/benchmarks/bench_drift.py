"""Times the drift statistics on a large fleet: python -m tests.benchmarks.bench_drift [--appliances N]."""

from __future__ import annotations

import argparse
import resource
import time

from analytics.drift.estimate import estimate_fleet, refit_burners
from analytics.drift.history import of_one_burner
from tests.simulator.arrays import history_of
from tests.simulator.fleet import simulate
from tests.simulator.options import Options

REFITS = 20


def measure(appliances: int, visits: int = 12) -> list[dict[str, object]]:
    """Rows for the bench list: name, value, unit, target, better, met."""
    scale = max(appliances // 10_000, 1)
    options = Options(appliances=appliances, visits=visits, analysers=30 * scale, areas=min(8 * scale, 40))
    history = history_of(simulate(options, 1))
    start, processor = time.perf_counter(), time.process_time()
    drift = estimate_fleet(history)
    fleet_s, processor_s = time.perf_counter() - start, time.process_time() - processor
    some = [of_one_burner(history, burner) for burner in range(REFITS)]
    start = time.perf_counter()
    for one in some:
        refit_burners(drift.run, one)
    refit_ms = 1e3 * (time.perf_counter() - start) / REFITS
    peak_gib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    fleet = _row(f"drift statistics, {appliances} appliances x {visits} visits", fleet_s, "s", 10.0)
    if not fleet["met"]:
        fleet["reason"] = (
            f"{processor_s:.0f} s of processor time; the filters' array operations are too short to share "
            "between two threads"
        )
    return [
        fleet,
        _row("drift of one burner again", refit_ms, "ms", 50.0),
        _row("drift statistics, peak memory with the simulator", peak_gib, "GiB", 2.0),
    ]


def _row(name: str, value: float, unit: str, target: float) -> dict[str, object]:
    met = value <= target
    return {"name": name, "value": value, "unit": unit, "target": target, "better": "less", "met": met}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--appliances", type=int, default=100_000)
    for row in measure(parser.parse_args().appliances):
        why = f": {row['reason']}" if "reason" in row else ""
        print(f"{row['name']}: {row['value']:.2f} {row['unit']} (target {row['target']:g}){why}")


if __name__ == "__main__":
    main()
