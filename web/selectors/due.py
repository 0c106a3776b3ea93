"""The office's due list: overdue, then due by week, then what visits left to follow up."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Any, TypeVar
from urllib.parse import urlencode

from django.db.models import QuerySet

from people.models import User
from planning.models import DueDate, FollowUp
from planning.querysets import DueDateQuerySet, FollowUpQuerySet
from web.paging import Page, counted, page_by_day, page_by_id

Rows = TypeVar("Rows", bound="QuerySet[Any]")
SITE = "appliance__plant__site"


@dataclass(frozen=True)
class Filters:
    """What the address asks for; empty means all."""

    gas_area: int | None = None
    customers: tuple[int, ...] | None = None
    text: str = ""

    def as_query(self, **more: str) -> str:
        """The same filters for the next address, with what else a list asks for."""
        chosen = {"gas_area": self.gas_area, "customer": self.text, **more}
        return urlencode({name: value for name, value in chosen.items() if value})

    def narrow(self, rows: Rows, site: str) -> Rows:
        """The rows whose site, at the end of this path, is asked for."""
        if self.gas_area:
            rows = rows.filter(**{f"{site}__gas_area": self.gas_area})
        if self.customers is not None:
            rows = rows.filter(**{f"{site}__customer__in": self.customers})
        return rows


@dataclass(frozen=True)
class Week:
    """The rows that are due in one week, which begins on a Monday."""

    monday: date
    rows: Sequence[DueDate]


@dataclass(frozen=True)
class DueCounts:
    """How many stand in each part of the list, as written."""

    overdue: str
    open_window: str
    coming: str
    follow_ups: str


def due_counts(user: User, filters: Filters, today: date) -> DueCounts:
    """The numbers on the tabs of the list."""
    dates = _dates(user, filters)
    return DueCounts(
        overdue=counted(dates.overdue(today)),
        open_window=counted(dates.due(today)),
        coming=counted(dates.upcoming(today)),
        follow_ups=counted(_follow_ups(user, filters)),
    )


def overdue_page(user: User, filters: Filters, today: date, after: str, size: int) -> Page:
    """Window closed and nobody came, longest first."""
    return page_by_day(_dates(user, filters).overdue(today).with_place(), "window_to", after, size)


def weeks_page(user: User, filters: Filters, today: date, after: str, size: int) -> tuple[list[Week], str]:
    """Everything dated that is not overdue, by the week it is due in; and the key of the next page."""
    rows = _dates(user, filters).filter(window_to__gte=today).with_place()
    page = page_by_day(rows, "due_on", after, size)
    weeks = [Week(monday, list(found)) for monday, found in groupby(page.rows, key=_monday)]
    return weeks, page.after


def follow_ups_page(user: User, filters: Filters, after: str, size: int) -> Page:
    """What closed visits left to do, oldest first."""
    rows = _follow_ups(user, filters).with_place().select_related("visit__technician")
    return page_by_id(rows, after, newest_first=False, size=size)


def _monday(row: DueDate) -> date:
    due_on: date = row.due_on or date.min
    return due_on - timedelta(days=due_on.weekday())


def _dates(user: User, filters: Filters) -> DueDateQuerySet:
    return filters.narrow(DueDate.objects.visible_to(user).dated(), SITE)


def _follow_ups(user: User, filters: Filters) -> FollowUpQuerySet:
    return filters.narrow(FollowUp.objects.visible_to(user).open(), SITE)
