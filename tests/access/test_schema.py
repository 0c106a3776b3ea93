"""The description of the API: complete, without a complaint, valid by its own standard."""

import re

import pytest
import yaml
from django.core.management import call_command

from tests.access.test_access import addresses, methods_of, part_of
from tests.factories import UserFactory


@pytest.fixture
def described(tmp_path):
    """The description as the command writes it, which fails on a warning and on an invalid document."""
    target = tmp_path / "schema.yml"
    call_command("spectacular", "--fail-on-warn", "--validate", file=str(target))
    return yaml.safe_load(target.read_text(encoding="utf-8"))


def test_every_address_of_the_api_is_described_with_every_method(described):
    told = {
        (nameless(path), method.upper()) for path, methods in described["paths"].items() for method in methods
    }
    for route, name, view in addresses():
        if route.startswith("api/") and part_of(name, view) != "config":
            assert {(nameless(f"/{route}"), method) for method in methods_of(view)} <= told


def nameless(path):
    """An address without the names of its variable parts, which the description may call otherwise."""
    return re.sub(r"<[^>]*>|{[^}]*}", "{}", path)


def test_the_device_token_is_the_way_in_and_signing_in_needs_none(described):
    assert described["components"]["securitySchemes"]["deviceToken"]["scheme"] == "bearer"
    assert {"deviceToken": []} in described["paths"]["/api/v1/appliances/"]["get"]["security"]
    assert described["paths"]["/api/v1/tokens/"]["post"].get("security", []) in ([], [{}])


def test_what_is_nowhere_or_breaks_is_answered_in_problem_details_under_the_api_alone(
    client, db, monkeypatch
):
    told = client.get("/api/v1/nowhere/")
    assert (told.status_code, told["Content-Type"]) == (404, "application/problem+json")
    assert told.json()["code"] == "not_found"
    assert client.get("/nowhere/")["Content-Type"].startswith("text/html")
    strange = client.get("/api/v1/fuels/", headers={"Host": "elsewhere.example"})
    assert (strange.status_code, strange["Content-Type"]) == (400, "application/problem+json")
    assert client.get("/", headers={"Host": "elsewhere.example"})["Content-Type"].startswith("text/html")
    monkeypatch.setattr("fleet.computing.api.FUELS", None)
    client.raise_request_exception = False
    client.force_login(UserFactory(), backend="django.contrib.auth.backends.ModelBackend")
    broken = client.get("/api/v1/fuels/")
    assert (broken.status_code, broken["Content-Type"]) == (500, "application/problem+json")
    assert broken.json()["code"] == "failed"
