"""When an appliance must be seen again: date arithmetic alone, no database and no clock.

Days are local calendar days. Month arithmetic always starts from the anchor, so that 29 February and month
ends come back in the years that have them: 31 January plus one month is 28 or 29 February, plus two 31 March.
"""

import calendar
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

FIXED_ANNIVERSARY = "fixed_anniversary"
FROM_LAST_DONE = "from_last_done"


@dataclass(frozen=True)
class Terms:
    """What a contract says of dates. `since` is the first day on which the plant was ours to look after."""

    rule: str
    interval_months: int
    since: date
    anniversary_on: date | None = None
    before_days: int = 30
    after_days: int = 30
    avoid_months: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Due:
    """The day to aim at and the window inside which a visit is on time."""

    due_on: date
    window_from: date
    window_to: date


def add_months(day: date, months: int) -> date:
    """The same day so many months on (or back), or the last day of a month that is too short.

    >>> add_months(date(2024, 2, 29), 12), add_months(date(2024, 2, 29), 48)
    (datetime.date(2025, 2, 28), datetime.date(2028, 2, 29))
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def next_due(terms: Terms, last_done_on: date | None, installed_on: date | None = None) -> Due:
    """When to come next.

    From last done: the interval after it, whenever it was. Fixed anniversary: the first anniversary whose
    window opens after it, so that a visit early inside the window, or late, keeps the month. Never seen: at
    once from the day it became ours (from last done), or at the first anniversary from then on. No date lies
    before that day.
    """
    ours_from = max(terms.since, installed_on) if installed_on and last_done_on is None else terms.since
    agreed_on = (
        _anniversary(terms, last_done_on, ours_from)
        if terms.rule == FIXED_ANNIVERSARY
        else _from_last_done(terms, last_done_on, ours_from)
    )
    opens_on = ours_from if last_done_on is None else max(ours_from, last_done_on + timedelta(days=1))
    window_from = max(agreed_on - timedelta(days=terms.before_days), opens_on)
    window_to = agreed_on + timedelta(days=terms.after_days)
    return Due(_allowed(agreed_on, window_from, window_to, terms.avoid_months), window_from, window_to)


def brought_forward(due: Due, come_by: date, decided_on: date, after_days: int) -> Due:
    """The date where the office has agreed to come by an earlier day: the window opens when it was agreed.

    It closes as long after the day as the contract allows, and no later than it would have.

    >>> due = Due(date(2027, 2, 19), date(2027, 1, 20), date(2027, 3, 21))
    >>> brought_forward(due, date(2026, 12, 1), date(2026, 11, 25), 30).window_to
    datetime.date(2026, 12, 31)
    """
    return Due(
        due_on=come_by,
        window_from=min(due.window_from, decided_on, come_by),
        window_to=max(come_by, min(due.window_to, come_by + timedelta(days=after_days))),
    )


def _from_last_done(terms: Terms, last_done_on: date | None, ours_from: date) -> date:
    if last_done_on is None:
        return ours_from
    return max(add_months(last_done_on, terms.interval_months), ours_from)


def _anniversary(terms: Terms, last_done_on: date | None, ours_from: date) -> date:
    anchor = terms.anniversary_on
    if anchor is None:
        raise ValueError("anniversary_on: None; a fixed anniversary needs its date.")
    if last_done_on is None:
        return _first_turn(anchor, terms.interval_months, ours_from)
    coming = _first_turn(anchor, terms.interval_months, last_done_on + timedelta(days=1))
    before_it = add_months(anchor, _turns(anchor, coming) - terms.interval_months)
    done_early = coming - timedelta(days=terms.before_days) <= last_done_on != before_it
    owed = coming + timedelta(days=1) if done_early else coming
    return _first_turn(anchor, terms.interval_months, max(owed, ours_from))


def _first_turn(anchor: date, interval_months: int, earliest: date) -> date:
    """The first of the anchor's turns (every interval, both ways) on or after a day."""
    turn = (_turns(anchor, earliest) // interval_months) * interval_months
    while add_months(anchor, turn) < earliest:
        turn += interval_months
    return add_months(anchor, turn)


def _turns(anchor: date, day: date) -> int:
    return (day.year - anchor.year) * 12 + day.month - anchor.month


def _allowed(agreed_on: date, window_from: date, window_to: date, avoid: frozenset[int]) -> date:
    """The nearest day of the window outside the months to avoid, the earlier of two; else the day agreed."""
    if agreed_on.month not in avoid:
        return agreed_on
    days = [day for day in _days(window_from, window_to) if day.month not in avoid]
    return min(days, key=lambda day: (abs(day - agreed_on), day), default=agreed_on)


def _days(first: date, last: date) -> Iterable[date]:
    return (first + timedelta(days=offset) for offset in range((last - first).days + 1))
