"""The outbox: at least once, never lost, one poison event stops nobody."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import transaction

from common import outbox, ticking
from common.models import OutboxDelivery, OutboxEvent

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def heard(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """What a consumer named `listener` was given; no other consumer listens."""
    monkeypatch.setattr(outbox, "_consumers", {})
    subjects: list[int] = []

    def listen(event: OutboxEvent) -> None:
        if event.payload.get("poison"):
            raise ValueError("poison")
        subjects.append(event.subject_id)

    outbox.register("listener", ["thing.done"], listen)
    return subjects


@pytest.mark.django_db
def test_each_event_is_handed_over_once_however_often_the_tick_comes(heard: list[int]) -> None:
    for subject in (1, 2):
        outbox.announce("thing.done", subject)
    outbox.announce("other.done", 3)
    for _ in range(3):
        outbox.work_through(NOW)
    assert heard == [1, 2]


@pytest.mark.django_db
def test_an_event_that_commits_late_with_a_low_id_is_still_found(heard: list[int]) -> None:
    low, high = OutboxEvent.objects.bulk_create(
        [OutboxEvent(kind="thing.done", subject_id=n) for n in (1, 2)]
    )
    low.delete()
    outbox.work_through(NOW)
    OutboxEvent.objects.create(pk=high.pk - 1, kind="thing.done", subject_id=1)
    outbox.work_through(NOW)
    assert heard == [2, 1]


@pytest.mark.django_db
def test_an_announcement_that_is_rolled_back_was_never_made(heard: list[int]) -> None:
    with transaction.atomic():
        outbox.announce("thing.done", 1)
        transaction.set_rollback(True)
    outbox.work_through(NOW)
    assert heard == []


@pytest.mark.django_db
def test_a_poison_event_waits_longer_each_time_and_is_then_set_aside(heard: list[int]) -> None:
    outbox.announce("thing.done", 1, poison=True)
    outbox.announce("thing.done", 2)
    now = NOW
    waits = []
    for _ in range(outbox.TRIES_BEFORE_SET_ASIDE):
        outbox.work_through(now)
        held = OutboxDelivery.objects.get(event__subject_id=1)
        if held.next_try_at is not None:
            waits.append(held.next_try_at - now)
            outbox.work_through(held.next_try_at - timedelta(seconds=1))
            assert OutboxDelivery.objects.get(pk=held.pk).tries == held.tries
            now = held.next_try_at
    assert heard == [2]
    assert held.state == OutboxDelivery.State.SET_ASIDE
    assert held.error == "ValueError: poison"
    assert waits == sorted(waits)
    assert len(waits) == outbox.TRIES_BEFORE_SET_ASIDE - 1


@pytest.mark.django_db
def test_a_poison_event_that_is_mended_is_delivered_at_its_next_try(heard: list[int]) -> None:
    outbox.announce("thing.done", 1, poison=True)
    outbox.work_through(NOW)
    OutboxEvent.objects.update(payload={})
    outbox.work_through(OutboxDelivery.objects.get().next_try_at or NOW)
    assert heard == [1]
    assert OutboxDelivery.objects.get().state == OutboxDelivery.State.DONE


@pytest.mark.django_db
def test_only_events_that_everyone_has_finished_are_forgotten(heard: list[int]) -> None:
    outbox.announce("thing.done", 1)
    outbox.work_through(NOW)
    outbox.announce("thing.done", 2, poison=True)
    outbox.work_through(NOW)
    OutboxEvent.objects.update(created_at=NOW - timedelta(days=40))
    assert outbox.forget_handled(NOW) == 1
    assert list(OutboxEvent.objects.values_list("subject_id", flat=True)) == [2]


def test_a_duty_that_fails_does_not_stop_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(now: datetime) -> object:
        raise ValueError

    monkeypatch.setattr(ticking, "_duties", {"bad": fail, "good": lambda now: now.year})
    assert ticking.tick(NOW) == {"bad": "failed: ValueError", "good": 2026}
