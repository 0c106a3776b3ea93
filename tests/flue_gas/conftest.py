"""A technician's client, and short ways to ask the computing addresses."""

import json

import pytest
from rest_framework.test import APIClient

from people.models import Role
from people.throttling import PersonThrottle
from tests.factories import UserFactory


@pytest.fixture
def post(db):
    """Ask an address with a body (an object, or JSON as text); answers status and what came back."""
    PersonThrottle.pace.clear()
    api = APIClient()
    api.force_authenticate(UserFactory(role=Role.TECHNICIAN))

    def ask(address, body):
        raw = body if isinstance(body, str) else json.dumps(body)
        answer = api.post(f"/api/v1/{address}/", raw, content_type="application/json")
        return answer.status_code, json.loads(answer.content)

    return ask


@pytest.fixture
def flue_gas(post):
    """The answer to readings that must be taken."""

    def ask(**readings):
        status, answer = post("flue-gas", readings)
        assert status == 200, answer
        return answer

    return ask


@pytest.fixture
def refused(post):
    """The one refused field of a body that must be refused."""

    def ask(address, body):
        status, problem = post(address, body)
        assert (status, problem["code"]) == (400, "invalid"), problem
        (row,) = problem["errors"]
        assert row.keys() == {"field", "code", "detail", "value", "limit"}
        assert row["detail"]
        return row

    return ask
