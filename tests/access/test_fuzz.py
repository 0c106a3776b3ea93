"""Every operation of the description, asked with generated values: no 5xx, and no answer that it does not
describe. FUZZ_EXAMPLES sets how many values each operation is asked with (100 in the full run)."""

import os
import random

import pytest
import schemathesis
from django.core.management import call_command
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from django.urls import get_resolver
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import checks

from config.wsgi import application
from people.models import DeviceToken
from people.services import device_token_issue
from people.throttling import PersonThrottle
from tests.access.table import tables
from tests.access.test_access import addresses
from tests.access.test_schema import nameless
from tests.access.world import build_world

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "2"))
CHECKS = [
    checks.not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_schema_conformance,
    checks.response_headers_conformance,
]


@pytest.fixture
def world(db):
    return build_world()


@pytest.fixture(autouse=True)
def _the_connection_stays():
    """A request that ends closes the connection, and with it the test's transaction."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.fixture
def described(world, tmp_path):
    target = tmp_path / "schema.yml"
    call_command("spectacular", file=str(target))
    schema = schemathesis.openapi.from_path(str(target))
    schema.app = application
    return schema


def token_of(person):
    """A device whose number no generated value comes near, so that nothing signs it out."""
    token, text = device_token_issue(user=person, name="fuzz")
    DeviceToken.objects.filter(pk=token.pk).update(id=10**15 + token.pk)
    return text


def known_places(world):
    """By operation: what the address needs to lead to a row that is there."""
    routes = {name: f"/{route}" for route, name, _ in addresses(get_resolver().url_patterns)}
    given = {"side": world.mine, "person": world.mine.technician, "who": "administrator", "mine": True}
    places = {}
    for row in tables():
        if ":" not in row.name and (values := row.kwargs(**given)):
            places.setdefault((row.method, nameless(routes[row.name])), []).append(
                [value if isinstance(value, int | str) else str(value) for value in values.values()]
            )
    return places


class Asker:
    """Asks each operation with generated values and keeps what it was answered."""

    def __init__(self, world):
        self._world, self._places, self._chance = world, known_places(world), random.Random(1)
        # Within the process nothing unpacks an answer.
        self._headers = {
            "Authorization": f"Bearer {token_of(world.people['administrator'])}",
            "Accept-Encoding": "identity",
        }
        self.statuses = {}
        self.asked = 0

    def asking(self, operation):
        """A function of one generated case of this operation."""
        method, path = operation.method.upper(), nameless(operation.path)

        def ask(case):
            self._lead_somewhere(case, method, path)
            answer = case.call(headers=self._headers)
            self.asked += 1
            self.statuses.setdefault(f"{method} {path}", set()).add(answer.status_code)
            case.validate_response(answer, checks=CHECKS)

        return ask

    def _lead_somewhere(self, case, method, path):
        """Mostly ask for what is there: generated UUIDs are nobody's."""
        if case.path_parameters and self._chance.random() < 0.7:
            own = list(case.path_parameters.values())
            values = self._chance.choice(self._places.get((method, path), [own]))
            case.path_parameters = dict(zip(case.path_parameters, values, strict=True))
        if isinstance(case.body, dict) and "appliance" in case.body and self._chance.random() < 0.7:
            case.body["appliance"] = str(self._world.mine.appliance.uuid)


def test_generated_requests_meet_no_error_and_no_answer_that_is_not_described(world, described, monkeypatch):
    monkeypatch.setattr(PersonThrottle, "per_minute", 1_000_000)
    asker, failures = Asker(world), []
    for result in described.get_all_operations():
        operation = result.ok()
        run = settings(
            max_examples=EXAMPLES,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )(given(case=operation.as_strategy())(asker.asking(operation)))
        try:
            run()
        except (Exception, BaseExceptionGroup) as error:  # noqa: BLE001 - all operations are asked before the test fails
            failures.append(f"{operation.method.upper()} {operation.path}: {error!s:.1500}")
    for name, met in sorted(asker.statuses.items()):
        print(name, sorted(met))
    print(f"{asker.asked} requests of {len(asker.statuses)} operations")
    assert failures == [], "\n\n".join(failures)
    assert asker.asked >= 2 * len(asker.statuses) > 60
