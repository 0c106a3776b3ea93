"""Pages of long lists by their last row's key: steady while rows are added, and no table is counted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite
from typing import Any

from django.db.models import Q, QuerySet

ROWS = 50
COUNTED_UP_TO = 1000


@dataclass(frozen=True)
class Page:
    """Some rows, and the key after which the next page begins; empty on the last page."""

    rows: Sequence[Any]
    after: str = ""


def page_by_day(rows: QuerySet[Any], column: str, after: str, size: int = ROWS) -> Page:
    """The rows after a key like `2026-03-02.117`, ordered by a date column and then by id.

    A key that cannot be read counts as none: an address edited by hand shows the beginning.
    """
    key = _day_key(after)
    if key is not None:
        day, pk = key
        rows = rows.filter(Q(**{f"{column}__gt": day}) | Q(**{column: day, "pk__gt": pk}))
    found = first_of(rows.order_by(column, "pk"), size + 1)
    if len(found) <= size:
        return Page(found)
    last = found[size - 1]
    return Page(found[:size], f"{getattr(last, column).isoformat()}.{last.pk}")


def page_by_value(
    rows: QuerySet[Any], column: str, after: str, *, size: int, tie: str = "pk", ascending: bool = False
) -> Page:
    """The rows after a key like `0.93.1207`, ordered by a column of numbers, then by a second one's ids.

    A key that cannot be read counts as none.
    """
    key = _value_key(after)
    if key is not None:
        value, pk = key
        beyond = Q(**{f"{column}__{'gt' if ascending else 'lt'}": value})
        rows = rows.filter(beyond | Q(**{column: value, f"{tie}__gt": pk}))
    found = first_of(rows.order_by(column if ascending else f"-{column}", tie), size + 1)
    if len(found) <= size:
        return Page(found)
    last = found[size - 1]
    return Page(found[:size], f"{getattr(last, column)!r}.{getattr(last, tie)}")


def first_of(rows: QuerySet[Any], size: int) -> list[Any]:
    """The first rows in their order: their keys along an index first, then what stands beside them.

    With many tables joined in one step, PostgreSQL may join and sort every row for a page of a few.
    """
    keys = list(rows.values_list("pk", flat=True)[:size])
    # nobody has the key 0: the second question is asked even of nothing, so that their number stays the same
    return list(rows.filter(pk__in=keys or [0]))


def page_by_id(rows: QuerySet[Any], after: str, *, newest_first: bool = True, size: int = ROWS) -> Page:
    """The rows after an id."""
    if after.isdecimal() and len(after) < 19:
        rows = rows.filter(**{"pk__lt" if newest_first else "pk__gt": int(after)})
    found = first_of(rows.order_by("-pk" if newest_first else "pk"), size + 1)
    return Page(found[:size], str(found[size - 1].pk) if len(found) > size else "")


def counted(rows: QuerySet[Any]) -> str:
    """How many rows, as written on a page: exact up to a thousand, then only that there are more."""
    return _as_written(rows.order_by().values("pk")[: COUNTED_UP_TO + 1].count())


def first_keys(rows: QuerySet[Any], size: int) -> tuple[list[int], str]:
    """Keys of the first rows in their order, and how many there are as `counted` writes it, in one walk."""
    keys = list(rows.values_list("pk", flat=True)[: COUNTED_UP_TO + 1])
    return keys[:size], _as_written(len(keys))


def _as_written(count: int) -> str:
    return str(count) if count <= COUNTED_UP_TO else f"{COUNTED_UP_TO:,}+"


def _value_key(text: str) -> tuple[float, int] | None:
    value, _, pk = text.rpartition(".")
    try:
        number, row = float(value), int(pk) if len(pk) < 19 else -1
    except ValueError:
        return None
    return (number, row) if isfinite(number) and row >= 0 else None


def _day_key(text: str) -> tuple[date, int] | None:
    day, _, pk = text.partition(".")
    try:
        return (date.fromisoformat(day), int(pk)) if len(pk) < 19 else None
    except ValueError:
        return None
