"""Write the bias of every analyser period to a CSV file."""

from collections.abc import Iterable, Sequence
from typing import Any

from analytics.exports import ANALYSER_COLUMNS, analyser_rows
from analytics.management.exporting import SheetCommand


class Command(SheetCommand):
    help = "Write one row per analyser period: reading minus truth at 9 % CO2, mean over its firing tests."
    columns = ANALYSER_COLUMNS

    def rows(self) -> Iterable[Sequence[Any]]:
        return analyser_rows()
