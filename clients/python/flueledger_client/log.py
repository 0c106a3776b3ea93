"""An analyser's log as readings: a plain CSV whose columns the user names; nothing is guessed."""

import csv
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

READINGS = (
    "co2_pct",
    "o2_pct",
    "co_ppm",
    "nox_ppm",
    "flue_temp_c",
    "air_temp_c",
    "flow_temp_c",
    "return_temp_c",
    "inlet_pressure_mbar",
    "gas_rate_m3_h",
    "flame_signal_ua",
    "fan_rpm",
    "ambient_co_ppm",
)
"""What a reading may hold; the unit is in the name."""
EMPTY = frozenset({"", "-", "--", "---", "----"})


class LogError(ValueError):
    """A log that cannot be read as it was described; the message names the line and the column."""


@dataclass(frozen=True)
class Layout:
    """How a log is written.

    time: header of the column with the time of each row.   columns: reading to header.   scale: reading to
    the factor that brings the column to the reading's unit.   time_format: as of strptime; None: ISO 8601.
    zone: of times that name none.
    """

    time: str
    columns: Mapping[str, str]
    scale: Mapping[str, float] = field(default_factory=dict)
    time_format: str | None = None
    zone: tzinfo | None = None
    separator: str = ","
    decimal_mark: str = "."

    def __post_init__(self) -> None:
        unknown = sorted({*self.columns, *self.scale} - set(READINGS))
        if unknown:
            raise LogError(f"{unknown[0]!r} is no reading; known: {', '.join(READINGS)}")
        if not self.columns:
            raise LogError("name at least one column")
        if len(self.separator) != 1 or self.separator in '"\r\n':
            raise LogError(f"the separator is {self.separator!r}; it must be one character")


def readings_of(lines: Iterable[str], layout: Layout) -> list[dict[str, Any]]:
    """The readings of a log, in its order. Empty cells are left out, and rows with none. Raises LogError."""
    try:
        rows = list(csv.reader(lines, delimiter=layout.separator))
    except csv.Error as error:
        raise LogError(f"the log is no CSV: {error}") from error
    if not rows:
        raise LogError("the log is empty")
    header = [name.strip().lstrip("\ufeff") for name in rows[0]]
    place = {name: _place(header, name) for name in (layout.time, *layout.columns.values())}
    readings = []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(header):
            raise LogError(f"line {number}: {len(row)} cells where the header has {len(header)}")
        values = {
            name: value
            for name, column in layout.columns.items()
            if (value := _number(row[place[column]], number, column, layout, name)) is not None
        }
        if values:
            readings.append({"at": _time(row[place[layout.time]], number, layout), **values})
    return readings


def zone_of(text: str) -> tzinfo:
    """A zone from its IANA name, or from an offset such as +01:00. Raises LogError."""
    if text[:1] in "+-" and text[1:3].isdigit() and text[3:4] == ":" and text[4:].isdigit():
        away = timedelta(hours=int(text[1:3]), minutes=int(text[4:]))
        return timezone(-away if text[0] == "-" else away)
    try:
        return ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise LogError(f"zone {text!r} is neither a name such as Europe/London nor +01:00") from error


def _place(header: list[str], name: str) -> int:
    found = [place for place, held in enumerate(header) if held == name]
    if len(found) != 1:
        count = "no column is" if not found else f"{len(found)} columns are"
        raise LogError(f"{count} called {name!r}; the header has: {', '.join(header)}")
    return found[0]


def _number(cell: str, line: int, column: str, layout: Layout, name: str) -> float | None:
    text = cell.strip()
    if text in EMPTY:
        return None
    other = "," if layout.decimal_mark == "." else "."
    if other in text:
        raise LogError(
            f"line {line}, {column}: {text!r} is no number with decimal mark {layout.decimal_mark!r}"
        )
    try:
        value = float(text.replace(layout.decimal_mark, "."))
    except ValueError as error:
        raise LogError(f"line {line}, {column}: {text!r} is no number") from error
    if not math.isfinite(value):
        raise LogError(f"line {line}, {column}: {text!r} is not finite")
    return value * layout.scale.get(name, 1.0)


def _time(cell: str, line: int, layout: Layout) -> str:
    text = cell.strip()
    try:
        moment = (
            datetime.strptime(text, layout.time_format)  # noqa: DTZ007 - the zone follows
            if layout.time_format
            else datetime.fromisoformat(text)
        )
    except ValueError as error:
        raise LogError(f"line {line}, {layout.time}: {text!r} is no time as described") from error
    if moment.tzinfo is None:
        if layout.zone is None:
            raise LogError(f"line {line}, {layout.time}: {text!r} names no zone; say which with --zone")
        moment = moment.replace(tzinfo=layout.zone)
    return moment.isoformat()
