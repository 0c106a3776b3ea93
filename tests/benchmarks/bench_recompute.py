"""The whole recompute, database to database, and one appliance's refit after a closed visit.

20,000 appliances of 12 years by default, reckoned up to the 100,000 of the target; with
RECOMPUTE_APPLIANCES=100000 the target itself is measured. PostgreSQL only.
"""

import os
import resource
import statistics
import time
from typing import Any

from django.db import connection
from django.utils import timezone

from analytics.models import DriftRun
from analytics.services import appliances_refit, fleet_recompute
from tests.benchmarks.big_fleet import load, unload
from tests.benchmarks.measures import at_most

APPLIANCES = int(os.environ.get("RECOMPUTE_APPLIANCES", "20000"))
TARGET_APPLIANCES, TARGET_S, TARGET_GIB, TARGET_REFIT_MS = 100_000, 60.0, 2.0, 50.0
REFITS = 60


def rows() -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    if connection.vendor != "postgresql":
        print("recompute: needs PostgreSQL, left out")
        return []
    load(appliances=APPLIANCES, visits=12)
    try:
        return _measured()
    finally:
        unload()


def _measured() -> list[dict[str, Any]]:
    steps = {"reading": 0.0, "fitting": 0.0, "writing": 0.0, "catching up": 0.0}
    began = last = time.perf_counter()
    at = "reading"

    def progress(step: str, _: int) -> None:
        # what passed since the last word belongs to the step that was under way
        nonlocal last, at
        now = time.perf_counter()
        steps[at] += now - last
        last, at = now, step

    fleet_recompute(kind=DriftRun.Kind.COMMAND, now=timezone.now(), progress=progress)
    whole = (time.perf_counter() - began) * TARGET_APPLIANCES / APPLIANCES
    rise = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    refits = []
    for appliance in range(1, REFITS + 1):
        start = time.perf_counter()
        appliances_refit([appliance])
        refits.append(1e3 * (time.perf_counter() - start))
    scale = "" if APPLIANCES == TARGET_APPLIANCES else f", reckoned from {APPLIANCES:,}"
    told = ", ".join(f"{step} {seconds:.1f} s" for step, seconds in steps.items())
    return [
        at_most(f"recompute of 100,000 appliances × 12 visits{scale}", whole, "s", TARGET_S, told),
        at_most(f"recompute, most memory at {APPLIANCES:,} appliances", rise, "GiB", TARGET_GIB, ""),
        at_most("one appliance refitted, median", statistics.median(refits), "ms", TARGET_REFIT_MS, ""),
    ]
