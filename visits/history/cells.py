"""What the text of one cell means.

Each reader takes non-empty text and raises `Refusal` with the reason, also for blank text that a second look
strips to nothing.
"""

import math
import unicodedata
import uuid
import zoneinfo
from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from functools import cache, lru_cache

from common.constraints import MEASURED_LIMIT

TextReader = Callable[[str], str]

VISIT_NAMESPACE = uuid.UUID("89d3fa4f-f769-5821-b7fe-645332e19722")
"""Namespace of the version 5 UUIDs made from a visit's text: UUIDv5(URL, urn:flueledger:imported-visit)."""

NUMBER_LONGEST = 40
WHOLE_LIMIT = 2_147_483_647
FIRST_YEAR, LAST_YEAR = 1900, 2199


class Refusal(ValueError):
    """Why a cell cannot be stored, as one clause that names the limit."""


def text(longest: int) -> TextReader:
    """Any text, in Unicode's composed form so that one name is one name, up to `longest` characters."""

    def read(cell: str) -> str:
        cell = cell.strip()
        if not cell or "\0" in cell:
            raise Refusal("holds a NUL character" if cell else "is blank")
        if not cell.isascii():
            cell = unicodedata.normalize("NFC", cell)
        if len(cell) > longest:
            raise Refusal(f"longer than {longest} characters")
        return cell

    return read


def number(low: float = -MEASURED_LIMIT, high: float = MEASURED_LIMIT) -> Callable[[str], float]:
    """A finite decimal number; between two inclusive limits, or of an absolute value under 1e6."""
    measured = high == MEASURED_LIMIT

    def read(cell: str) -> float:
        try:
            value = float(cell) if len(cell) <= NUMBER_LONGEST else math.nan
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or "_" in cell or not cell.isascii():
            raise Refusal("not a finite decimal number, such as 8.9 (a point, not a comma; no unit)")
        if measured and abs(value) >= MEASURED_LIMIT:
            raise Refusal("not of an absolute value under 1e6")
        if not low <= value <= high:
            raise Refusal(f"not between {low:g} and {high:g}")
        return value

    return read


def whole(cell: str) -> int:
    """A whole number from 0 to 2147483647."""
    if not (cell.isascii() and cell.isdigit()) or len(cell) > 10 or int(cell) > WHOLE_LIMIT:
        raise Refusal(f"not a whole number from 0 to {WHOLE_LIMIT}")
    return int(cell)


def one_of(values: Iterable[str]) -> TextReader:
    """One of the given words, exactly."""
    allowed = {value: value for value in values}

    def read(cell: str) -> str:
        try:
            return allowed[cell]
        except KeyError:
            raise Refusal(f"not one of {', '.join(allowed)}") from None

    return read


def yes_or_no(cell: str) -> bool:
    """Yes or no."""
    if cell not in ("yes", "no"):
        raise Refusal("not yes or no")
    return cell == "yes"


def day(cell: str) -> date:
    """A calendar day, YYYY-MM-DD."""
    try:
        if len(cell) != 10 or "W" in cell:
            raise ValueError(cell)
        return date.fromisoformat(cell)
    except ValueError:
        raise Refusal("not a date such as 2026-01-31") from None


@cache
def _zone_names() -> frozenset[str]:
    return frozenset(zoneinfo.available_timezones())


def zone_name(cell: str) -> str:
    """A name of the IANA time zone database."""
    if cell not in _zone_names():
        raise Refusal("not a name of the IANA time zone database, such as Europe/London")
    return cell


@lru_cache(maxsize=64)
def zone_of(name: str) -> zoneinfo.ZoneInfo:
    """The time zone of a checked name."""
    return zoneinfo.ZoneInfo(name)


_visit_text = text(400)


def visit_uuid(cell: str) -> uuid.UUID:
    """The UUID a visit is known by: the cell itself where it is one (36 characters), else made from it."""
    cell = cell.strip()
    if len(cell) == 36:
        try:
            return uuid.UUID(cell)
        except ValueError:
            pass
    return uuid.uuid5(VISIT_NAMESPACE, _visit_text(cell))


def instant(cell: str, zone: str) -> datetime:
    """The instant in UTC of an ISO 8601 time: by its own offset, else in the zone of that name.

    A local time that the clocks skipped, or that they showed twice, is refused: only an offset can say which
    was meant. So is a date without a time, and a time outside the years 1900 to 2199.
    """
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        moment = None
    if moment is None or len(cell) <= 10:
        raise Refusal("not an ISO 8601 date and time such as 2026-01-31T09:30:00+00:00")
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise Refusal(f"not in the years {FIRST_YEAR} to {LAST_YEAR}")
    if moment.tzinfo is not None:
        return moment.astimezone(UTC)
    if not zone:
        raise Refusal("a time without a zone: give an offset, the timezone column or --timezone")
    return _local_instant(moment, zone)


def _local_instant(moment: datetime, zone: str) -> datetime:
    local = moment.replace(tzinfo=zone_of(zone))
    if local.utcoffset() != local.replace(fold=1).utcoffset():
        there_and_back = local.astimezone(UTC).astimezone(local.tzinfo).replace(tzinfo=None)
        if there_and_back != moment:
            raise Refusal(f"a local time that the clocks of {zone} skipped: give it with its offset")
        raise Refusal(f"a local time that the clocks of {zone} showed twice: give it with its offset")
    return local.astimezone(UTC)
