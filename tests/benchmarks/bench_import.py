"""History import on the configured database: checked, stored and judged, in visits a second."""

import tempfile
import time
from pathlib import Path
from typing import Any

from django.db import connection

from tests.history.files import invented_fleet, write
from visits.history.services import history_import
from visits.models import Visit

VISITS = 5000
APPLIANCES = 625
TARGET_VISITS_PER_S = 1500


def rows() -> list[dict[str, Any]]:
    """Measure one import of a generated file, on a database without these visits."""
    with tempfile.TemporaryDirectory() as folder:
        path = write(Path(folder) / "history.csv", invented_fleet(VISITS, APPLIANCES))
        start = time.perf_counter()
        history_import(path=path, dry_run=True)
        checked = time.perf_counter()
        outcome = history_import(path=path, default_zone="Europe/London")
        stored = time.perf_counter()
    assert outcome.visits_stored == Visit.objects.filter(source="import").count() == VISITS
    whole = VISITS / (stored - checked)
    row: dict[str, Any] = {
        "name": f"history import, checked, stored and judged, {connection.vendor}",
        "value": round(whole, 1),
        "unit": "visits/s",
        "target": TARGET_VISITS_PER_S,
        "better": "more",
        "met": whole >= TARGET_VISITS_PER_S,
    }
    if not row["met"]:
        share = (checked - start) / (stored - checked)
        row["reason"] = f"in one process; the check is {share:.0%} of it, the rest is storing and judging"
    return [row]
