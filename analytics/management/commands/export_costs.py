"""Write what being out of tune costs each burner to a CSV file."""

from collections.abc import Iterable, Sequence
from typing import Any

from analytics.exports import COST_SHEET_COLUMNS, cost_rows
from analytics.management.exporting import SheetCommand


class Command(SheetCommand):
    help = "Write one row per burner: gas, money and CO2 lost a year as found, with 95 % intervals."
    columns = COST_SHEET_COLUMNS

    def rows(self) -> Iterable[Sequence[Any]]:
        return cost_rows()
