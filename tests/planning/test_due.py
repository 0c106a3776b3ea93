"""The date arithmetic: hand-reckoned cases, the world's calendars, and properties."""

import calendar
import doctest
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from planning import due
from planning.due import FIXED_ANNIVERSARY, FROM_LAST_DONE, Terms, add_months, next_due

SINCE = date(2015, 1, 1)


def yearly(**values):
    return Terms(**{"rule": FROM_LAST_DONE, "interval_months": 12, "since": SINCE} | values)


def anniversary(on, **values):
    return yearly(rule=FIXED_ANNIVERSARY, anniversary_on=on, **values)


def test_examples_in_the_docstrings_hold():
    assert doctest.testmod(due).failed == 0


days = st.dates(date(2015, 1, 1), date(2060, 12, 31))


def some_terms(**fixed):
    free = {
        "rule": st.sampled_from([FIXED_ANNIVERSARY, FROM_LAST_DONE]),
        "interval_months": st.integers(1, 60),
        "since": st.dates(date(2010, 1, 1), date(2030, 12, 31)),
        "anniversary_on": st.dates(date(2000, 1, 1), date(2040, 12, 31)),
        "before_days": st.integers(0, 90),
        "after_days": st.integers(0, 90),
        "avoid_months": st.frozensets(st.integers(1, 12), max_size=11),
    }
    return st.builds(Terms, **free | {name: st.just(value) for name, value in fixed.items()})


any_terms = some_terms()


@given(days, st.integers(-400, 400))
def test_months_are_added_as_an_independent_library_adds_them(day, months):
    """Source: python-dateutil's relativedelta."""
    assert add_months(day, months) == day + relativedelta(months=months)


@pytest.mark.parametrize(
    ("done_on", "due_on"),
    [
        (date(2026, 3, 2), date(2027, 3, 2)),
        (date(2024, 2, 29), date(2025, 2, 28)),
        (date(2027, 2, 28), date(2028, 2, 28)),
        (date(2025, 12, 31), date(2026, 12, 31)),
    ],
)
def test_twelve_months_from_last_done(done_on, due_on):
    assert next_due(yearly(), done_on).due_on == due_on


def test_half_a_year_from_a_month_end_is_the_shorter_months_last_day():
    assert next_due(yearly(interval_months=6), date(2025, 8, 31)).due_on == date(2026, 2, 28)


@pytest.mark.parametrize(
    ("done_on", "due_on"),
    [
        (date(2026, 4, 15), date(2027, 4, 15)),  # on the day
        (date(2026, 3, 16), date(2027, 4, 15)),  # first day of the window: keeps the month
        (date(2026, 3, 15), date(2026, 4, 15)),  # a day too early: this year's is still owed
        (date(2026, 7, 1), date(2027, 4, 15)),  # late: keeps the month
        (date(2027, 3, 15), date(2027, 4, 15)),  # eleven months late: the next is due in its month
        (date(2027, 3, 16), date(2028, 4, 15)),
    ],
)
def test_fixed_anniversary_keeps_the_month(done_on, due_on):
    assert next_due(anniversary(date(2020, 4, 15)), done_on).due_on == due_on


def test_anniversary_of_29_february_returns_in_leap_years():
    terms = anniversary(date(2024, 2, 29))
    seen, done_on = [], date(2024, 2, 29)
    for _ in range(4):
        done_on = next_due(terms, done_on).due_on
        seen.append(done_on)
    assert seen == [date(2025, 2, 28), date(2026, 2, 28), date(2027, 2, 28), date(2028, 2, 29)]


def test_monthly_anniversaries_with_a_wide_window_skip_none():
    terms = anniversary(date(2024, 1, 31), interval_months=1, before_days=30)
    seen, done_on = [], date(2026, 1, 31)
    for _ in range(3):
        done_on = next_due(terms, done_on).due_on
        seen.append(done_on)
    assert seen == [date(2026, 2, 28), date(2026, 3, 31), date(2026, 4, 30)]


def test_never_seen_is_due_from_the_contracts_start_or_the_installation():
    assert next_due(yearly(), None).due_on == SINCE
    assert next_due(yearly(), None, installed_on=date(2025, 6, 1)).due_on == date(2025, 6, 1)
    assert next_due(yearly(), None, installed_on=date(2001, 6, 1)).due_on == SINCE
    first = next_due(anniversary(date(2020, 4, 15)), None, installed_on=date(2025, 6, 1))
    assert first.due_on == date(2026, 4, 15)


def test_what_was_owed_before_the_contract_is_due_at_its_start():
    found = next_due(yearly(since=date(2026, 1, 1)), date(2019, 5, 5))
    assert (found.due_on, found.window_from, found.window_to) == (
        date(2026, 1, 1),
        date(2026, 1, 1),
        date(2026, 1, 31),
    )


@pytest.mark.parametrize(
    ("avoid", "due_on"),
    [
        ({8}, date(2026, 7, 31)),  # 10 August: the last of July is nearer than the first of September
        ({7, 8}, date(2026, 9, 1)),
        ({7, 8, 9}, date(2026, 8, 10)),  # nothing else inside the window: the day agreed stands
        ({1, 2, 3}, date(2026, 8, 10)),
    ],
)
def test_months_to_avoid_move_the_day_inside_its_window(avoid, due_on):
    assert next_due(yearly(avoid_months=frozenset(avoid)), date(2025, 8, 10)).due_on == due_on


def test_a_fixed_anniversary_without_its_date_is_refused_by_name():
    with pytest.raises(ValueError, match="anniversary_on: None"):
        next_due(yearly(rule=FIXED_ANNIVERSARY), date(2026, 1, 1))


@given(any_terms, days, st.integers(0, 800))
def test_a_later_visit_never_brings_the_next_one_forward(terms, done_on, later):
    assert next_due(terms, done_on).due_on <= next_due(terms, done_on + timedelta(days=later)).due_on


@given(any_terms, days)
def test_the_day_lies_in_its_window_and_after_the_start(terms, done_on):
    found = next_due(terms, done_on)
    assert found.window_from <= found.due_on <= found.window_to
    assert found.window_from >= terms.since


@given(any_terms, st.none() | days, st.none() | days)
def test_an_avoided_month_is_met_only_where_the_window_holds_no_other(terms, done_on, installed_on):
    found = next_due(terms, done_on, installed_on)
    span = (found.window_to - found.window_from).days
    months = {(found.window_from + timedelta(days=n)).month for n in range(span + 1)}
    assert found.due_on.month not in terms.avoid_months or months <= terms.avoid_months


@given(some_terms(rule=FROM_LAST_DONE, avoid_months=frozenset(), since=SINCE), days)
def test_from_last_done_the_agreed_day_is_the_interval_later_however_leap_years_fall(terms, done_on):
    found = next_due(terms, done_on).due_on
    assert (found.year * 12 + found.month) - (done_on.year * 12 + done_on.month) == terms.interval_months
    last = calendar.monthrange(found.year, found.month)[1]
    assert found.day == min(done_on.day, last)


@given(some_terms(rule=FIXED_ANNIVERSARY, avoid_months=frozenset()), days)
def test_a_fixed_anniversary_always_falls_on_its_day_of_the_month(terms, done_on):
    found, anchor = next_due(terms, done_on).due_on, terms.anniversary_on
    months = (found.year - anchor.year) * 12 + found.month - anchor.month
    assert months % terms.interval_months == 0
    assert found.day == min(anchor.day, calendar.monthrange(found.year, found.month)[1])


@given(any_terms, days)
def test_a_visit_always_moves_the_day_past_itself(terms, done_on):
    assert next_due(terms, done_on).due_on > done_on
