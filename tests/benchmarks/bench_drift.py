"""Times the drift statistics on a large fleet: python -m tests.benchmarks.bench_drift [--appliances N]."""

from __future__ import annotations

import argparse
import os
import resource
import time

import numpy as np

from analytics.drift.estimate import estimate_fleet, refit_burners
from analytics.drift.forecast import Bands
from analytics.drift.history import of_one_burner
from tests.benchmarks.measures import at_most
from tests.simulator.arrays import history_of
from tests.simulator.evaluate import bands_of
from tests.simulator.fleet import simulate
from tests.simulator.options import Options

REFITS = 20


def rows() -> list[dict[str, object]]:
    """The rows of this benchmark."""
    return measure(int(os.environ.get("DRIFT_APPLIANCES", "100000")))


def measure(appliances: int, visits: int = 12) -> list[dict[str, object]]:
    """Rows for the bench list: name, value, unit, target, better, met."""
    scale = max(appliances // 10_000, 1)
    options = Options(appliances=appliances, visits=visits, analysers=30 * scale, areas=min(8 * scale, 40))
    fleet = simulate(options, 1)
    history, bands = history_of(fleet), bands_of(fleet)
    del fleet
    start, processor = time.perf_counter(), time.process_time()
    drift = estimate_fleet(history, bands)
    fleet_s, processor_s = time.perf_counter() - start, time.process_time() - processor
    # half of them flagged: those are looked at more closely, and cost most
    flagged = np.flatnonzero(drift.appliance_flagged)[: REFITS // 2].tolist()
    some = [of_one_burner(history, burner) for burner in [*flagged, *range(REFITS - len(flagged))]]
    own = Bands(bands.lowest_phi[:1], bands.highest_phi[:1])
    start = time.perf_counter()
    for one in some:
        refit_burners(drift.run, one, own)
    refit_ms = 1e3 * (time.perf_counter() - start) / REFITS
    peak_gib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    why = f"{processor_s:.0f} s of processor time"
    return [
        at_most(f"drift statistics, {appliances} appliances x {visits} visits", fleet_s, "s", 10.0, why),
        at_most("drift of one burner again", refit_ms, "ms", 50.0),
        at_most("drift statistics, peak memory with the simulator", peak_gib, "GiB", 2.0),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--appliances", type=int, default=100_000)
    for row in measure(parser.parse_args().appliances):
        why = f": {row['reason']}" if "reason" in row else ""
        print(f"{row['name']}: {row['value']:.2f} {row['unit']} (target {row['target']:g}){why}")


if __name__ == "__main__":
    main()
