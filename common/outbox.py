"""The outbox: what a left app tells a right one.

A writer calls `announce` inside its transaction. A consumer registers a handler once, at start.
`work_through` hands each consumer the events that it has no delivery for, and those whose next try has come;
it may run twice, late, or in two processes at once, since a delivery is unique per event and consumer and is
written in the handler's own transaction.
"""

import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef

from common.models import OutboxDelivery, OutboxEvent

log = logging.getLogger(__name__)

Handler = Callable[[OutboxEvent], None]
TRIES_BEFORE_SET_ASIDE = 6
KEEP_HANDLED = timedelta(days=30)


@dataclass(frozen=True)
class Consumer:
    """A named reader of some kinds of event."""

    name: str
    kinds: frozenset[str]
    handle: Handler


_consumers: dict[str, Consumer] = {}


def register(name: str, kinds: Iterable[str], handle: Handler) -> None:
    """Make `handle` the consumer `name` of these kinds. Called from an app's `ready`."""
    _consumers[name] = Consumer(name, frozenset(kinds), handle)


def consumers() -> list[Consumer]:
    """All registered consumers, in the order of registration."""
    return list(_consumers.values())


def announce(kind: str, subject_id: int, **payload: object) -> None:
    """Write an event in the current transaction and, once that commits, try to wake a worker."""
    announce_all(kind, [(subject_id, payload)])


def announce_all(kind: str, subjects: Sequence[tuple[int, dict[str, object]]]) -> None:
    """The same for many subjects at once, each with its payload; one statement, one call to wake."""
    if not subjects:
        return
    OutboxEvent.objects.bulk_create(
        [OutboxEvent(kind=kind, subject_id=subject_id, payload=payload) for subject_id, payload in subjects]
    )
    if settings.CELERY_BROKER_URL:
        transaction.on_commit(_wake, robust=True)


def _wake() -> None:
    # Best effort: a broker that is away loses nothing, the next tick finds the event.
    from common.tasks import tick

    tick.apply_async(retry=False, expires=60)


def pending(consumer: Consumer, now: datetime) -> Iterable[OutboxEvent]:
    """Events of the consumer's kinds that it has not finished and whose time has come, oldest first."""
    held = OutboxDelivery.objects.filter(event=OuterRef("pk"), consumer=consumer.name)
    fresh = OutboxEvent.objects.filter(~Exists(held), kind__in=consumer.kinds).order_by("id")
    again = OutboxEvent.objects.filter(
        deliveries__consumer=consumer.name,
        deliveries__state=OutboxDelivery.State.WAITING,
        deliveries__next_try_at__lte=now,
    ).order_by("id")
    yield from again[:200]
    yield from fresh[:1000]


def work_through(now: datetime) -> dict[str, int]:
    """Hand every consumer what waits for it. Returns the number of events handled per consumer."""
    return {
        consumer.name: sum(_deliver(consumer, event, now) for event in pending(consumer, now))
        for consumer in consumers()
    }


def _deliver(consumer: Consumer, event: OutboxEvent, now: datetime) -> bool:
    try:
        with transaction.atomic():
            if not _claim(consumer, event):
                return False
            consumer.handle(event)
    except Exception as error:
        log.exception("outbox: %s could not handle event %s", consumer.name, event.pk)
        _note_failure(consumer, event, error, now)
        return False
    return True


def _claim(consumer: Consumer, event: OutboxEvent) -> bool:
    """Hold the event as done before handling it: rolled back with the handler, seen by nobody until then."""
    held = OutboxDelivery.objects.select_for_update().filter(event=event, consumer=consumer.name).first()
    if held is None:
        try:
            with transaction.atomic():
                OutboxDelivery.objects.create(
                    event=event, consumer=consumer.name, state=OutboxDelivery.State.DONE, tries=1
                )
        except IntegrityError:
            return False
        return True
    if held.state != OutboxDelivery.State.WAITING:
        return False
    held.state, held.tries, held.next_try_at = OutboxDelivery.State.DONE, held.tries + 1, None
    held.save(update_fields=["state", "tries", "next_try_at"])
    return True


def _note_failure(consumer: Consumer, event: OutboxEvent, error: Exception, now: datetime) -> None:
    held, _ = OutboxDelivery.objects.get_or_create(
        event=event, consumer=consumer.name, defaults={"state": OutboxDelivery.State.WAITING}
    )
    held.tries += 1
    held.error = f"{type(error).__name__}: {error}"[:2000]
    if held.tries >= TRIES_BEFORE_SET_ASIDE:
        held.state, held.next_try_at = OutboxDelivery.State.SET_ASIDE, None
    else:
        held.state, held.next_try_at = (
            OutboxDelivery.State.WAITING,
            now + timedelta(seconds=30 * 4**held.tries),
        )
    held.save()


def forget_handled(now: datetime) -> int:
    """Delete events older than 30 days that every consumer of their kind has finished."""
    gone = 0
    for kind in OutboxEvent.objects.order_by().values_list("kind", flat=True).distinct():
        old = OutboxEvent.objects.filter(kind=kind, created_at__lt=now - KEEP_HANDLED)
        for consumer in consumers():
            if kind in consumer.kinds:
                done = OutboxDelivery.objects.filter(
                    event=OuterRef("pk"), consumer=consumer.name, state=OutboxDelivery.State.DONE
                )
                old = old.filter(Exists(done))
        gone += old.delete()[1].get("common.OutboxEvent", 0)
    return gone
