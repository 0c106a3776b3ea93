"""Threads that read on or write while the caller goes on, and what becomes of their errors."""

import threading
from collections.abc import Callable, Iterator

import pytest
from django.db import IntegrityError, transaction

from common.aside import Ahead, Aside, writing_aside
from people.models import User


def _counted(drawn: list[int]) -> Iterator[int]:
    for number in range(3):
        drawn.append(number)
        yield number
    raise ValueError("torn")


def test_items_come_in_order_and_an_error_in_its_place() -> None:
    drawn: list[int] = []
    with Ahead(_counted(drawn)) as items:
        for expected in range(3):
            assert next(items) == expected
            items.begin()
        with pytest.raises(ValueError, match="torn"):
            next(items)
    assert drawn == [0, 1, 2]
    with Ahead([]) as none:
        none.begin()
        assert list(none) == []


def test_only_the_next_item_is_drawn_and_only_once_it_is_begun() -> None:
    drawn: list[int] = []
    with Ahead(_counted(drawn)) as items:
        assert next(items) == 0
        assert drawn == [0]
        items.begin()
        items.begin()
    assert drawn == [0, 1], "what was begun is finished before the block is left"


def _write(name: str) -> None:
    assert threading.current_thread() is not threading.main_thread()
    User.objects.create(username=name)


class CallerFails(Exception):
    pass


def _within_a_transaction(work: Callable[[Aside], None]) -> None:
    with transaction.atomic():
        with writing_aside() as aside:
            work(aside)
        assert User.objects.filter(username__in=["one", "two"]).count() == 2
        raise CallerFails


@pytest.mark.django_db
def test_what_is_written_aside_is_part_of_the_callers_transaction() -> None:
    def work(aside: Aside) -> None:
        aside(_write, "one")
        aside(_write, "two")

    with pytest.raises(CallerFails):
        _within_a_transaction(work)
    assert not User.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("names", [["same", "same"], ["same", "same", "other"]])
def test_what_a_write_raises_ends_the_block_and_undoes_it(names: list[str]) -> None:
    def work(aside: Aside) -> None:
        for name in names:
            aside(_write, name)

    with pytest.raises(IntegrityError):
        _within_a_transaction(work)
    assert not User.objects.exists()


@pytest.mark.django_db
def test_where_the_caller_fails_the_write_under_way_is_waited_for() -> None:
    begun, go_on = threading.Event(), threading.Event()
    finished: list[bool] = []

    def slow() -> None:
        begun.set()
        go_on.wait(10)
        _write("slow")
        finished.append(True)

    def work(aside: Aside) -> None:
        aside(slow)
        begun.wait(10)
        threading.Timer(0.05, go_on.set).start()
        raise CallerFails

    with pytest.raises(CallerFails):
        _within_a_transaction(work)
    assert finished
    assert not User.objects.exists()
