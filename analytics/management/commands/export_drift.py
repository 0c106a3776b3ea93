"""Write drift and wander of every trim to a CSV file."""

from collections.abc import Iterable, Sequence
from typing import Any

from analytics.exports import DRIFT_COLUMNS, drift_rows
from analytics.management.exporting import SheetCommand


class Command(SheetCommand):
    help = (
        "Write one row per appliance, burner and trim. Throttle in % of K a year; offset in Pa a year, or "
        "1e-3 of w a year where the air signal is unknown."
    )
    columns = DRIFT_COLUMNS

    def rows(self) -> Iterable[Sequence[Any]]:
        return drift_rows()
