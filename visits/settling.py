"""The settled values of a firing test from its readings.

A single typed reading is its own settled value where that is stated. Of a stream the settled value of each
channel is the mean over the last half minute.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from visits.measured import MEASURED_FIELDS
from visits.models import FiringTest
from visits.payload import ReadingIn

WINDOW = timedelta(seconds=30)


@dataclass(frozen=True)
class SettledValues:
    """The time and the values that stand for a test, and how they came to."""

    at: datetime | None = None
    values: dict[str, float] = field(default_factory=dict)
    settled: str = FiringTest.Settled.UNKNOWN


def settled_values(readings: Sequence[ReadingIn], *, stated: bool) -> SettledValues:
    """Settled values of one test; its readings may be out of order, doubled, or without a time."""
    settled = FiringTest.Settled.STATED if stated else FiringTest.Settled.UNKNOWN
    times = [row.at for row in readings if row.at is not None]
    if not times:
        return SettledValues(None, _means(readings[-1:]), settled)
    end = max(times)
    window = [row for row in readings if row.at is not None and end - row.at <= WINDOW]
    return SettledValues(end, _means(window), settled)


def _means(window: Sequence[ReadingIn]) -> dict[str, float]:
    means = {}
    for name in MEASURED_FIELDS:
        values = [value for row in window if (value := getattr(row, name)) is not None]
        if values:
            means[name] = sum(values) / len(values)
    return means
