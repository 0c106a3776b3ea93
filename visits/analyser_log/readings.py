"""Rows of a log to readings as a device sends them: times with a zone, values in the stored units."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

from visits.analyser_log.columns import SECONDS, TIME, choice_read
from visits.analyser_log.table import LogRefused, Table
from visits.history.cells import Refusal, instant, number

EMPTY = frozenset({"", "-", "--", "---", "----"})
LONGEST_S = 86_400.0
AHEAD = timedelta(minutes=5)
"""How far an analyser's clock may run ahead before one is asked: assumed, no source."""
_MOST_SENTENCES = 5
_TIME_OF_DAY = re.compile(r"\d?\d:\d\d(:\d\d([.,]\d+)?)?")
_DAY_FIRST = re.compile(r"(\d\d)\.(\d\d)\.(\d{4})[ T]+(.+)")
_seconds, _measured = number(0.0, LONGEST_S), number()


@dataclass(frozen=True)
class Clock:
    """What gives a log its times: the day and zone of a time of day; when it ended, where somebody says so.

    A log that counts seconds ends `now` where nobody says otherwise.
    """

    day: date
    zone: tzinfo
    now: datetime
    ended_at: datetime | None = None


def log_readings(table: Table, columns: Sequence[str], clock: Clock) -> list[dict[str, Any]]:
    """The readings of a log, in its order; empty cells are left out, and rows without any.

    columns: for each column `time`, `seconds`, a quantity with its unit, or "" for not used.
    Raises LogRefused with up to five sentences, each with line, column, value and limit.
    """
    _check(columns)
    read = _Reader(table, columns)
    values = [(place, row) for place, row in enumerate(read.values()) if row]
    times = read.times(clock)
    if read.refusals:
        raise LogRefused(*read.refusals[:_MOST_SENTENCES])
    if not values:
        raise LogRefused("No row of the log holds a value in the columns that are used.")
    times = _placed(times, clock, counted=SECONDS in columns)
    return [{"at": times[place].isoformat(), **row} for place, row in values]


def _check(columns: Sequence[str]) -> None:
    kinds = [choice.split("|")[0] for choice in columns if choice]
    if sum(kind in (TIME, SECONDS) for kind in kinds) != 1:
        raise LogRefused("Say of one column, and of one only, that it holds the time.")
    twice = next((kind for kind in kinds if kinds.count(kind) > 1), None)
    if twice is not None:
        raise LogRefused(f"Two columns are said to hold {twice}; only one can.")
    if not {"o2_pct", "co2_pct"} & set(kinds):
        raise LogRefused("Say which column holds O2 or CO2; without either nothing can be judged.")


class _Reader:
    """Cells read one by one; what is refused is noted and the rest read on."""

    def __init__(self, table: Table, columns: Sequence[str]) -> None:
        self.table = table
        self.clock_column = next(place for place, what in enumerate(columns) if what in (TIME, SECONDS))
        self.counted = columns[self.clock_column] == SECONDS
        self.wanted = [
            (place, *choice_read(what))
            for place, what in enumerate(columns)
            if what not in ("", TIME, SECONDS)
        ]
        self.refusals: list[str] = []

    def values(self) -> Iterator[dict[str, float]]:
        """The measured values of every row."""
        for line, row in self.table.rows:
            read = ((name, self._number(line, row, place), factor, offset)
                    for place, name, factor, offset in self.wanted)  # fmt: skip
            yield {name: value * factor + offset for name, value, factor, offset in read if value is not None}

    def times(self, clock: Clock) -> list[datetime]:
        """The time of every row: counted from 1970 where the log counts seconds."""
        times: list[datetime] = []
        day = clock.day
        for line, row in self.table.rows:
            cell = row[self.clock_column]
            try:
                if self.counted:
                    past = timedelta(seconds=_seconds(self._plain(cell)))
                    times.append(clock.now + past)
                    continue
                at = _moment(cell, day, clock.zone)
                if times and _TIME_OF_DAY.fullmatch(cell) and times[-1] - at > timedelta(hours=12):
                    day += timedelta(days=1)  # past midnight
                    at = _moment(cell, day, clock.zone)
                times.append(at)
            except Refusal as why:
                self._refuse(line, self.clock_column, cell, str(why))
        return times

    def _number(self, line: int, row: Sequence[str], place: int) -> float | None:
        cell = row[place]
        if cell in EMPTY:
            return None
        try:
            return _measured(self._plain(cell))
        except Refusal as why:
            self._refuse(line, place, cell, str(why))
            return None

    def _plain(self, cell: str) -> str:
        """The cell with a decimal point, where its decimal mark is the log's."""
        if self.table.decimal_mark == ".":
            return cell
        if "." in cell:
            raise Refusal("a point in a log whose decimal mark is a comma")
        return cell.replace(",", ".")

    def _refuse(self, line: int, place: int, cell: str, why: str) -> None:
        self.refusals.append(f"Line {line}, column «{self.table.header[place]}»: «{cell}» is {why}.")


def _moment(cell: str, day: date, zone: tzinfo) -> datetime:
    """A time of day, an ISO date and time, or one with the day first and points between."""
    text = re.sub(r"(?<!\d)(\d):", r"0\1:", cell.replace(",", "."), count=1)
    pointed = _DAY_FIRST.fullmatch(text)
    if _TIME_OF_DAY.fullmatch(text):
        text = f"{day.isoformat()}T{text}"
    elif pointed:
        of_day, month, year, clock = pointed.groups()
        text = f"{year}-{month}-{of_day}T{clock}"
    try:
        return instant(text, str(zone))
    except Refusal as why:
        if "not an ISO" in str(why):
            raise Refusal("no time such as 09:12:05, 2026-03-02 09:12:05 or 02.03.2026 09:12:05") from why
        raise


def _placed(times: list[datetime], clock: Clock, *, counted: bool) -> list[datetime]:
    """The times, moved so that the last is when the log ended where that is said, or where it only counts."""
    last = max(times)
    ended_at = clock.ended_at or (clock.now if counted else None)
    if ended_at is not None:
        return [at - last + ended_at for at in times]
    if last > clock.now + AHEAD:
        shown = last.astimezone(clock.zone)
        raise LogRefused(
            f"The log ends at {shown:%H:%M:%S} on {shown:%Y-%m-%d}, which is still to come: its clock is "
            "off, or it is another day's. Say when its last reading was read."
        )
    return times
