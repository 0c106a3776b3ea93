"""Pace: so many requests a minute and person, at the same small cost for the first and the thousandth."""

from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from people.throttling import WINDOW_S, Pace

pytestmark = pytest.mark.any_database


EIGHTHS_S = st.integers(0, 8 * 90).map(lambda count: count / 8)  # exact, so that a minute ends where it ends


@given(per_minute=st.integers(1, 20), gaps_s=st.lists(EIGHTHS_S | st.just(0.0), min_size=1, max_size=120))
def test_a_minute_holds_no_more_and_whoever_waits_as_told_is_let_in(per_minute, gaps_s) -> None:
    pace, now_s, let_in = Pace(), 0.0, []
    for gap_s in gaps_s:
        now_s += gap_s
        wait_s = pace.wait_s("a", per_minute, now_s)
        assert 0.0 <= wait_s <= WINDOW_S + 1.0
        if wait_s > 0.0:
            now_s = ceil((now_s + wait_s) * 8) / 8
            assert pace.wait_s("a", per_minute, now_s) == 0.0
        let_in.append((now_s - gaps_s[0]) // WINDOW_S)
    assert all(let_in.count(minute) <= per_minute for minute in let_in)


@given(per_minute=st.integers(2, 30), step_s=st.floats(0.05, 3.0))
def test_over_ten_minutes_the_pace_is_kept_but_for_one_burst(per_minute, step_s) -> None:
    pace = Pace()
    tries = int(600.0 / step_s)
    let_in = sum(pace.wait_s("a", per_minute, number * step_s) == 0.0 for number in range(tries))
    assert let_in <= 11 * per_minute
    assert let_in >= min(tries, 9 * per_minute)


def test_a_refused_request_and_another_person_count_nothing() -> None:
    pace = Pace()
    assert [pace.wait_s("a", 2, 0.0) for _ in range(4)] == [0.0, 0.0, WINDOW_S, WINDOW_S]
    assert pace.wait_s("b", 2, 0.0) == 0.0
    assert pace.wait_s("a", 2, 2 * WINDOW_S) == 0.0


def test_a_crowd_of_names_does_not_grow_without_bound() -> None:
    pace = Pace(most_names=100)
    for number in range(1000):
        pace.wait_s(f"address-{number}", 5, number * 0.01)
    assert len(pace._counted) <= 100
