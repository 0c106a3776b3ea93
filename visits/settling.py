"""The settled values of a firing test from its readings.

Of a stream the value of each channel is the mean over the window in which it has settled; the statistics are
`combustion.settling`. A single typed reading is its own settled value where that is stated and nothing was
moved just before. CO that stood high for a while in between is kept beside it: what settles well in the end
was breathed all the same.
"""

import hashlib
import pickle
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import sqrt
from typing import Any

import numpy as np

from combustion.settling import LEAST_READINGS, LEAST_SPAN, WINDOWS_S, gas_settled, thermally_steady
from visits.measured import MEASURED_FIELDS
from visits.models import FiringTest
from visits.payload import ReadingIn

SETTLE_S = 60.0  # where no analyser on file says: common practice is 30 to 90 s, no source
# CO counts as sustained when it stands for this long, from this long after the stream began: a spike at
# light-off passes. Both are assumed, no source.
SUSTAINED = timedelta(seconds=60)
IGNITION = timedelta(seconds=30)
GASES = ("o2_pct", "co2_pct", "co_ppm")
TEMPERATURES = ("flue_temp_c", "return_temp_c", "flow_temp_c")
WINDOW = timedelta(seconds=WINDOWS_S[-1])
_STREAM = timedelta(seconds=LEAST_SPAN * WINDOWS_S[-1])
_Settled, _Why = FiringTest.Settled, FiringTest.Why


@dataclass(frozen=True)
class Before:
    """What is known of the time before a test's value, from the rest of the visit.

    moved_at: the burner's last trim move before it.   read_elsewhere_at: the last reading before it at
    another point or burner: the change came after that, at a moment nobody noted.
    """

    moved_at: datetime | None = None
    read_elsewhere_at: datetime | None = None


@dataclass(frozen=True)
class SettledValues:
    """The time and the values that stand for a test, and how they came to; `u`: of the gases, by scatter.

    window_from: the first reading of the window that the values are the means of; `at` is its last.
    """

    at: datetime | None = None
    values: Mapping[str, float] = field(default_factory=dict)
    u: Mapping[str, float] = field(default_factory=dict)
    settled: str = _Settled.UNKNOWN
    why: str = ""
    to_go_s: float | None = None
    since_change_s: float | None = None
    probe_out: bool = False
    thermally_steady: bool | None = None
    window_from: datetime | None = None
    began_at: datetime | None = None
    co_sustained_ppm: float | None = None
    co_peak_ppm: float | None = None


def settled_values(
    readings: Sequence[ReadingIn],
    *,
    stated: bool,
    settle_s: float = SETTLE_S,
    resolution: Mapping[str, float] | None = None,
    before: Before = Before(),
) -> SettledValues:
    """Settled values of one test; its readings may be out of order, doubled, or without a time."""
    times = {row.at for row in readings if row.at is not None}
    if not times:
        settled = _Settled.STATED if stated else _Settled.UNKNOWN
        return SettledValues(None, _means(readings[-1:]), settled=settled)
    first, end = min(times), max(times)
    if len(times) < LEAST_READINGS or end - first < _STREAM:
        return _typed(
            readings, end, stated, settle_s, before, _of_all(readings, first), single=len(times) == 1
        )
    told = (stated, settle_s, sorted((resolution or {}).items()), before.moved_at, before.read_elsewhere_at)
    content = _content(readings, told)
    if content not in _KEPT:
        if len(_KEPT) >= MOST_KEPT:
            _KEPT.clear()
        _KEPT[content] = _streamed(readings, first, stated, settle_s, resolution or {}, before)
    return _KEPT[content]


MOST_KEPT = 2000
_KEPT: dict[bytes, SettledValues] = {}
"""Streams that were worked out, by their content: a visit is sent whole at every save, and most of its
streams have not changed since the last."""


def _content(readings: Sequence[ReadingIn], told: object) -> bytes:
    """All that a stream's settled values follow from, as a digest."""
    rows = [
        (row.at and row.at.timestamp(), *[getattr(row, name) for name in MEASURED_FIELDS]) for row in readings
    ]
    return hashlib.blake2b(pickle.dumps((rows, told)), digest_size=20).digest()


def _of_all(readings: Sequence[ReadingIn], first: datetime) -> dict[str, Any]:
    """What is said of all readings, inside the window or not."""
    return {
        "began_at": first,
        "co_sustained_ppm": co_sustained_ppm(readings),
        "co_peak_ppm": co_peak_ppm(readings),
    }


def _typed(
    readings: Sequence[ReadingIn],
    end: datetime,
    stated: bool,
    settle_s: float,
    before: Before,
    common: Mapping[str, Any],
    *,
    single: bool,
) -> SettledValues:
    """A few readings: the word of the person at the burner, unless a change came too shortly before."""
    window = [row for row in readings if row.at is not None and end - row.at < WINDOW]
    changes = [at for at in (before.moved_at, before.read_elsewhere_at) if at is not None and at < end]
    since = (end - max(changes)).total_seconds() if changes else None
    why = ""
    if since is not None and since < settle_s:
        settled, why = _Settled.NOT_SETTLED, _Why.TOO_SOON
    elif stated:
        settled = _Settled.STATED
    elif single:
        settled = _Settled.UNKNOWN
    else:
        settled, why = _Settled.NOT_SETTLED, _Why.TOO_FEW
    to_go = max(0.0, settle_s - (since or 0.0)) if settled != _Settled.STATED else None
    spread = {} if single else _spread(window)
    return SettledValues(
        end,
        _means(window),
        spread,
        settled,
        why,
        to_go,
        since,
        window_from=min(row.at for row in window if row.at is not None),
        **common,
    )


def _streamed(
    readings: Sequence[ReadingIn],
    first: datetime,
    stated: bool,
    settle_s: float,
    resolution: Mapping[str, float],
    before: Before,
) -> SettledValues:
    """A stream speaks for itself; where it is only short, the person's word counts."""
    rows = [row for row in readings if row.at is not None]
    time_s = np.array([(row.at - first).total_seconds() for row in rows])  # type: ignore[operator]
    columns = {name: _column(rows, name) for name in (*GASES, *TEMPERATURES)}
    answer = gas_settled(
        time_s,
        {name: columns[name] for name in GASES},
        settle_s=settle_s,
        changed_s=_changed_s(first, before),
        resolution=resolution,
    )
    moved_in_it = before.moved_at is not None and before.moved_at > first
    settled, why = _Settled.STREAMED, answer.why
    if not answer.settled:
        only_short = why == _Why.TOO_FEW or (why == _Why.TOO_SOON and not moved_in_it)
        settled = _Settled.STATED if stated and only_short else _Settled.NOT_SETTLED
    window = [rows[place] for place in answer.window]
    steady = thermally_steady(time_s, {name: columns[name] for name in TEMPERATURES})
    trusted = settled != _Settled.NOT_SETTLED
    return SettledValues(
        window[-1].at,
        _means(window) | {name: estimate.mean for name, estimate in answer.of.items()},
        {name: estimate.u for name, estimate in answer.of.items()},
        settled,
        "" if trusted else why,
        None if trusted else answer.to_go_s,
        answer.since_change_s,
        answer.probe_out,
        steady,
        window[0].at,
        **_of_all(readings, first),
    )


def _changed_s(first: datetime, before: Before) -> float | None:
    """The last change on the stream's clock; unknown where the point was reached after the last move."""
    moved, elsewhere = before.moved_at, before.read_elsewhere_at
    if moved is None or (elsewhere is not None and elsewhere > moved and moved < first):
        return None
    return (moved - first).total_seconds()


def _column(rows: Sequence[ReadingIn], name: str) -> np.ndarray:
    return np.array([getattr(row, name) for row in rows], dtype=np.float64)


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


def _spread(window: Sequence[ReadingIn]) -> dict[str, float]:
    """Of readings too few to say how they resemble each other: their standard deviation, not averaged."""
    spread = {}
    for name in GASES:
        values = [value for row in window if (value := getattr(row, name)) is not None]
        if len(values) > 1:
            mean = sum(values) / len(values)
            spread[name] = sqrt(sum((value - mean) ** 2 for value in values) / (len(values) - 1))
    return spread
