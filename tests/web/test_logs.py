"""Log lines: one JSON object each, with the request's id and the visit's."""

import json
import logging
from uuid import uuid4

import pytest
from django.http import HttpResponse
from django.test import RequestFactory
from django.urls import reverse

from common.logs import JsonFormatter, RequestFilter, RequestIdMiddleware


@pytest.fixture
def lines():
    """What is written to a logger of the house, as JSON."""
    written: list[dict] = []

    class Keep(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            written.append(json.loads(self.format(record)))

    handler, log = Keep(), logging.getLogger("house.test")
    handler.addFilter(RequestFilter())
    handler.setFormatter(JsonFormatter())
    log.addHandler(handler)
    yield written
    log.removeHandler(handler)


def _view(request) -> HttpResponse:
    logging.getLogger("house.test").warning("stored %s of «%s»", 3, "B1\nB2")
    return HttpResponse()


def test_a_line_names_the_request_and_the_visit_of_its_address(lines) -> None:
    visit = str(uuid4())
    request = RequestFactory().put(f"/api/v1/visits/{visit}/", headers={"X-Request-ID": "proxy-1234"})
    answer = RequestIdMiddleware(_view)(request)
    assert answer.headers["X-Request-ID"] == "proxy-1234"
    assert lines[0]["request_id"] == "proxy-1234"
    assert lines[0]["visit_id"] == visit
    assert lines[0]["message"] == "stored 3 of «B1\nB2»"


def test_an_id_that_could_forge_a_line_is_replaced(lines) -> None:
    request = RequestFactory().get("/", headers={"X-Request-ID": 'x"},\n{"level":"x'})
    answer = RequestIdMiddleware(_view)(request)
    assert answer.headers["X-Request-ID"] == lines[0]["request_id"]
    assert len(lines[0]["request_id"]) == 32
    assert "visit_id" not in lines[0]


def test_outside_a_request_a_line_has_no_id_and_an_error_its_trace(lines) -> None:
    try:
        raise ValueError("torn")
    except ValueError:
        logging.getLogger("house.test").exception("failed")
    assert "request_id" not in lines[0]
    assert lines[0]["error"].endswith("ValueError: torn\n")


def test_every_answer_carries_its_id(client) -> None:
    answers = [client.get(reverse("web:healthz")) for _ in range(2)]
    ids = {answer.headers["X-Request-ID"] for answer in answers}
    assert len(ids) == 2
