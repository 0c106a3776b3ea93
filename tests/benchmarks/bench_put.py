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
from tests.benchmarks.nested_serializers import PlainVisitView, table_drop, table_make
from tests.factories import (
    AnalyserPeriodFactory,
    ApplianceFactory,
    FiringSpecFactory,
    LicenceFactory,
    ModelTrimFactory,
)
from tests.visits.bodies import firing, visit_body
from visits.api import VisitDetail

ROUNDS = 150
Send = Callable[[], None]


def rows() -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    user = LicenceFactory().technician.user
    table_make()
    try:
        ours, plain = _sender(VisitDetail, user), _sender(PlainVisitView, user)
        times = _alternating([ours, plain])
    finally:
        table_drop()
    ratio = statistics.median(times[1]) / statistics.median(times[0])
    small, large = _queries(user, readings=1), _queries(user, readings=60)
    return [
        {
            "name": "PUT judged and stored, rate over nested serializers that only store",
            "value": ratio,
            "unit": "×",
            "target": 1.0,
            "better": "more",
            "met": ratio >= 1.0,
        },
        {
            "name": "PUT, queries",
            "value": large,
            "unit": "queries",
            "target": 20,
            "better": "less",
            "met": large <= 20 and small == large,
        },
    ]


def _sender(view: Any, user: User) -> Send:
    factory, handler = APIRequestFactory(), view.as_view()
    _, token = device_token_issue(user=user, name="bench")
    appliance = _appliance()
    analyser = AnalyserPeriodFactory().analyser

    def send() -> None:
        request = factory.put(
            "/", body_of(appliance, analyser), format="json", HTTP_AUTHORIZATION=f"Bearer {token}"
        )
        response = handler(request, visit_uuid=uuid.uuid4())
        response.render()
        assert response.status_code == 201, response.data

    return send


def body_of(appliance: Any, analyser: Any, readings: int = 6) -> dict[str, Any]:
    """An annual with 4 tests of some readings each, five seconds apart."""
    tests = [
        firing("found-high", "high", "as_found", 10),
        firing("found-low", "low", "as_found", 15),
        firing("left-high", "high", "as_left", 40),
        firing("left-low", "low", "as_left", 45),
    ]
    for test in tests:
        first = test["readings"][0]
        minute = first["at"][:17]
        test["readings"] = [{**first, "at": f"{minute}{second:02}+00:00"} for second in range(readings)]
    return visit_body(appliance, analyser, tests=tests)


def _appliance() -> Any:
    appliance = ApplianceFactory()
    for point in ("high", "low"):
        FiringSpecFactory(model=appliance.model, point=point)
    for kind in ("throttle", "offset"):
        ModelTrimFactory(model=appliance.model, kind=kind)
    return appliance


def _alternating(senders: list[Send]) -> list[list[float]]:
    """Seconds per call, the senders taking turns so that noise falls on both."""
    times: list[list[float]] = [[] for _ in senders]
    for turn in range(ROUNDS + 20):
        for send, taken in zip(senders, times, strict=True):
            start = time.perf_counter()
            send()
            if turn >= 20:
                taken.append(time.perf_counter() - start)
    return times


def _queries(user: User, readings: int) -> int:
    factory, appliance = APIRequestFactory(), _appliance()
    analyser = AnalyserPeriodFactory().analyser
    _, token = device_token_issue(user=user, name="bench")
    body = body_of(appliance, analyser, readings)
    body["closed_at"], body["outcome"] = "2026-03-02T10:30:00Z", "completed"
    request = factory.put("/", body, format="json", HTTP_AUTHORIZATION=f"Bearer {token}")
    with CaptureQueriesContext(connection) as captured:
        VisitDetail.as_view()(request, visit_uuid=uuid.uuid4())
    return len(captured)
