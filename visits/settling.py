"""The settled values of a firing test from its readings.

A single typed reading is its own settled value where that is stated. Of a stream the settled value of each
channel is the mean over the last half minute. CO that stood high for a while in between is kept beside it:
what settles well in the end was breathed all the same.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from visits.measured import MEASURED_FIELDS
from visits.models import FiringTest
from visits.payload import ReadingIn

WINDOW = timedelta(seconds=30)
# CO counts as sustained when it stands for this long, from this long after the stream began: a spike at
# light-off passes. Both are assumed, no source.
SUSTAINED = timedelta(seconds=60)
IGNITION = timedelta(seconds=30)


@dataclass(frozen=True)
class SettledValues:
    """The time and the values that stand for a test, and how they came to."""

    at: datetime | None = None
    values: dict[str, float] = field(default_factory=dict)
    settled: str = FiringTest.Settled.UNKNOWN
    co_sustained_ppm: float | None = None
    co_peak_ppm: float | None = None


def settled_values(readings: Sequence[ReadingIn], *, stated: bool) -> SettledValues:
    """Settled values of one test; its readings may be out of order, doubled, or without a time."""
    settled = FiringTest.Settled.STATED if stated else FiringTest.Settled.UNKNOWN
    times = [row.at for row in readings if row.at is not None]
    if not times:
        return SettledValues(None, _means(readings[-1:]), settled)
    end = max(times)
    window = [row for row in readings if row.at is not None and end - row.at <= WINDOW]
    return SettledValues(end, _means(window), settled, co_sustained_ppm(readings), co_peak_ppm(readings))


def co_peak_ppm(readings: Sequence[ReadingIn]) -> float | None:
    """The highest CO of a stream, dry ppm; None where none was read."""
    return max((row.co_ppm for row in readings if row.co_ppm is not None), default=None)


def co_sustained_ppm(readings: Sequence[ReadingIn]) -> float | None:
    """The highest CO that stood for a minute or more outside the ignition window, dry ppm.

    None where no minute of the stream is covered. Source: the idea is common practice; the times are assumed.
    """
    timed = sorted((row.at, row.co_ppm) for row in readings if row.at and row.co_ppm is not None)
    begun = timed[0][0] + IGNITION if timed else None
    best: float | None = None
    lowest: deque[tuple[datetime, float]] = deque()
    start = 0
    kept = [(at, co) for at, co in timed if begun is not None and at >= begun]
    for at, co in kept:
        while lowest and lowest[-1][1] >= co:
            lowest.pop()
        lowest.append((at, co))
        # The shortest run of readings up to this one that covers the whole minute.
        while start + 1 < len(kept) and at - kept[start + 1][0] >= SUSTAINED:
            start += 1
        while lowest[0][0] < kept[start][0]:
            lowest.popleft()
        if at - kept[start][0] >= SUSTAINED:
            best = lowest[0][1] if best is None else max(best, lowest[0][1])
    return best


def _means(window: Sequence[ReadingIn]) -> dict[str, float]:
    means = {}
    for name in MEASURED_FIELDS:
        values = [value for row in window if (value := getattr(row, name)) is not None]
        if values:
            means[name] = sum(values) / len(values)
    return means
