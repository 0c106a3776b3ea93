"""Saving a visit with 4 tests of 6 readings: judged and stored, against the yardstick that only stores."""

import statistics
import time
import uuid
from collections.abc import Callable
from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIRequestFactory

from people.models import User
from people.services import device_token_issue
from tests.benchmarks.live_server import p99_at_4_clients_ms
from tests.benchmarks.nested_serializers import PlainVisitView, table_drop, table_make
from tests.benchmarks.visit_bodies import body_of
from tests.factories import (
    AnalyserPeriodFactory,
    ApplianceFactory,
    FiringSpecFactory,
    LicenceFactory,
    ModelTrimFactory,
)
from visits.api import VisitDetail

ROUNDS = 150
Send = Callable[[], None]


def rows() -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    user = LicenceFactory().technician.user
    table_make()
    try:
        ours, plain = _sender(VisitDetail, user), _sender(PlainVisitView, user)
        (ours_ms, ours_cpu_ms), (plain_ms, plain_cpu_ms) = _alternating([ours, plain])
    finally:
        table_drop()
    ratio = plain_ms / ours_ms
    small, large = _queries(user, readings=1), _queries(user, readings=60)
    slow_ms = p99_at_4_clients_ms(user, bench_appliance(), AnalyserPeriodFactory().analyser)
    return [
        {
            "name": "PUT judged and stored, rate over nested serializers that only store",
            "value": ratio,
            "unit": "×",
            "target": 1.0,
            "better": "more",
            "met": ratio >= 1.0,
            "reason": f"{ours_ms:.1f} ms, {ours_cpu_ms:.1f} of the processor, against {plain_ms:.1f} and "
            f"{plain_cpu_ms:.1f}; what is more is judging and its statements",
        },
        {
            "name": "PUT, queries",
            "value": large,
            "unit": "queries",
            "target": 20,
            "better": "less",
            "met": large <= 20 and small == large,
        },
        {
            "name": "PUT through a server of two processes, 99th percentile at 4 clients",
            "value": slow_ms,
            "unit": "ms",
            "target": 100,
            "better": "less",
            "met": slow_ms <= 100,
            "reason": "client, server and database share the cores of this machine",
        },
    ]


def _sender(view: Any, user: User) -> Send:
    factory, handler = APIRequestFactory(), view.as_view()
    _, token = device_token_issue(user=user, name="bench")
    appliance = bench_appliance()
    analyser = AnalyserPeriodFactory().analyser

    def send() -> None:
        request = factory.put(
            "/", body_of(appliance, analyser), format="json", HTTP_AUTHORIZATION=f"Bearer {token}"
        )
        response = handler(request, visit_uuid=uuid.uuid4())
        response.render()
        assert response.status_code == 201, response.data

    return send


def bench_appliance() -> Any:
    """A boiler whose model has specs and trims."""
    appliance = ApplianceFactory()
    for point in ("high", "low"):
        FiringSpecFactory(model=appliance.model, point=point)
    for kind in ("throttle", "offset"):
        ModelTrimFactory(model=appliance.model, kind=kind)
    return appliance


def _alternating(senders: list[Send]) -> list[tuple[float, float]]:
    """Median ms per call, by the clock and of the processor; taking turns, so that noise falls on both."""
    taken: list[list[tuple[float, float]]] = [[] for _ in senders]
    for turn in range(ROUNDS + 20):
        for send, own in zip(senders, taken, strict=True):
            clock, processor = time.perf_counter(), time.process_time()
            send()
            if turn >= 20:
                own.append((time.perf_counter() - clock, time.process_time() - processor))
    return [
        (1e3 * statistics.median(by_clock), 1e3 * statistics.median(by_processor))
        for by_clock, by_processor in (zip(*own, strict=True) for own in taken)
    ]


def _queries(user: User, readings: int) -> int:
    factory, appliance = APIRequestFactory(), bench_appliance()
    analyser = AnalyserPeriodFactory().analyser
    _, token = device_token_issue(user=user, name="bench")
    body = body_of(appliance, analyser, readings)
    body["closed_at"], body["outcome"] = "2026-03-02T10:30:00Z", "completed"
    request = factory.put("/", body, format="json", HTTP_AUTHORIZATION=f"Bearer {token}")
    with CaptureQueriesContext(connection) as captured:
        VisitDetail.as_view()(request, visit_uuid=uuid.uuid4())
    return len(captured)
