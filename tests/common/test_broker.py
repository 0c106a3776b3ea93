"""The broker: waking a worker is best effort, and a broker that is away loses nothing and delays nobody."""

import socket
import time

import pytest
from celery import Celery
from django.db import transaction

from common import outbox
from common.models import OutboxEvent
from common.tasks import tick
from config.celery import app


def _dead_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.mark.django_db(transaction=True)
def test_with_the_broker_away_an_announcement_is_kept_and_nothing_is_raised(settings, monkeypatch) -> None:
    url = f"redis://127.0.0.1:{_dead_port()}/0"
    settings.CELERY_BROKER_URL = url
    away = Celery("away", broker=url, set_as_current=False)
    away.conf.broker_transport_options = settings.CELERY_BROKER_TRANSPORT_OPTIONS
    asked: list[float] = []

    def send(**options: object) -> None:
        start = time.monotonic()
        try:
            with away.connection_for_write() as connection:
                connection.ensure_connection(max_retries=0)
        finally:
            asked.append(time.monotonic() - start)

    monkeypatch.setattr(tick, "apply_async", send)
    with transaction.atomic():
        outbox.announce("thing.done", 1)
    assert OutboxEvent.objects.count() == 1
    assert len(asked) == 1


@pytest.mark.redis
def test_the_tick_reaches_a_worker_through_the_broker(settings) -> None:
    app.conf.broker_url = settings.REDIS_URL
    queue = "flueledger-test"
    with app.connection_for_write() as connection:
        tick.apply_async(queue=queue, retry=False, expires=60)
        consumer = connection.SimpleQueue(queue)
        message = consumer.get(timeout=10)
        assert message.headers["task"] == "common.tasks.tick"
        message.ack()
        consumer.close()
