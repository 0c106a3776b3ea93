"""A batch of 100 closed visits against 100 single saves of the same bodies, in one run."""

import statistics
import time
import uuid
from typing import Any

from rest_framework.test import APIRequestFactory

from people.services import device_token_issue
from tests.benchmarks.bench_put import bench_appliance
from tests.benchmarks.visit_bodies import body_of
from tests.factories import AnalyserPeriodFactory, LicenceFactory
from visits.api import VisitBatch, VisitDetail

VISITS = 100
ROUNDS = 5


def rows() -> list[dict[str, Any]]:
    """The rows of this benchmark."""
    user = LicenceFactory().technician.user
    _, token = device_token_issue(user=user, name="bench")
    bodies = _bodies()
    _in_one(token, bodies)  # fills caches, compiles statements
    single, batch = [], []
    for _ in range(ROUNDS):
        single.append(_timed(_one_by_one, token, bodies))
        batch.append(_timed(_in_one, token, bodies))
    ratio = statistics.median(single) / statistics.median(batch)
    return [
        {
            "name": f"batch of {VISITS} closed visits, rate over single PUTs",
            "value": ratio,
            "unit": "×",
            "target": 3.0,
            "better": "more",
            "met": ratio >= 3.0,
            "reason": "answering costs the same either way; only looking up, judging and writing are shared",
        },
    ]


def _bodies() -> list[dict[str, Any]]:
    """Closed annual services of ten boilers in ten plants, with two analysers."""
    appliances = [bench_appliance() for _ in range(10)]
    analysers = [AnalyserPeriodFactory().analyser for _ in range(2)]
    return [
        body_of(appliances[number % 10], analysers[number % 2])
        | {"closed_at": "2026-03-02T10:30:00Z", "outcome": "completed"}
        for number in range(VISITS)
    ]


def _timed(send: Any, token: str, bodies: list[dict[str, Any]]) -> float:
    start = time.perf_counter()
    send(token, bodies)
    return time.perf_counter() - start


def _one_by_one(token: str, bodies: list[dict[str, Any]]) -> None:
    factory, handler = APIRequestFactory(), VisitDetail.as_view()
    for body in bodies:
        request = factory.put("/", body, format="json", HTTP_AUTHORIZATION=f"Bearer {token}")
        response = handler(request, visit_uuid=uuid.uuid4())
        response.render()
        assert response.status_code == 201, response.data


def _in_one(token: str, bodies: list[dict[str, Any]]) -> None:
    visits = [{"uuid": str(uuid.uuid4()), "body": body} for body in bodies]
    request = APIRequestFactory().post(
        "/", {"visits": visits}, format="json", HTTP_AUTHORIZATION=f"Bearer {token}"
    )
    response = VisitBatch.as_view()(request)
    response.render()
    assert {row["status"] for row in response.data["answers"]} == {201}, response.data
