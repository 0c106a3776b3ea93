"""Devices: signed in with a password once, listed, signed out."""

from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from common.models import AuditLine
from people.authentication import token_digest
from people.models import DeviceToken, Role
from people.services import device_token_issue
from people.throttling import PersonThrottle, SignInThrottle
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db
PASSWORD = "a long enough pass phrase"


@pytest.fixture
def person():
    user = UserFactory(role=Role.TECHNICIAN)
    user.set_password(PASSWORD)
    user.save()
    return user


@pytest.fixture(autouse=True)
def _nobody_has_asked_yet():
    PersonThrottle.pace.clear()


def sign_in(person, password=PASSWORD, **headers):
    body = {"username": person.username, "password": password, "name": "tablet 3"}
    return APIClient().post("/api/v1/tokens/", body, format="json", headers=headers)


def test_signing_in_gives_a_token_that_opens_the_door(person):
    answer = sign_in(person)
    assert answer.status_code == 201
    api = APIClient(headers={"Authorization": f"Bearer {answer.data['token']}"})
    listed = api.get("/api/v1/tokens/").data["results"]
    assert [(row["id"], row["name"], row["this_device"]) for row in listed] == [
        (answer.data["id"], "tablet 3", True)
    ]


def test_only_the_digest_of_a_token_is_kept(person):
    text = sign_in(person).data["token"]
    token = DeviceToken.objects.get()
    assert bytes(token.digest) == token_digest(text)
    assert text not in str(DeviceToken.objects.values())
    assert text not in str(list(AuditLine.objects.values()))
    assert AuditLine.objects.filter(verb="issued", subject_id=token.pk, actor_id=person.pk).exists()


def test_a_token_is_never_shown_again(person, api_of):
    text = sign_in(person).data["token"]
    assert text not in api_of(person).get("/api/v1/tokens/").content.decode()


def test_a_wrong_password_is_refused_without_saying_which_part_was_wrong(person):
    wrong = sign_in(person, "not the pass phrase")
    nobody = sign_in(UserFactory.build(), "not the pass phrase")
    assert (wrong.status_code, wrong.json()["code"]) == (401, "sign_in_refused")
    assert wrong.json() == nobody.json()
    assert wrong.headers["Content-Type"] == "application/problem+json"


def test_a_closed_account_signs_no_device_in(person):
    person.is_active = False
    person.save()
    assert sign_in(person).status_code == 401


def test_wrong_passwords_lock_the_name_out_with_a_problem_document(person, settings):
    settings.AXES_FAILURE_LIMIT = 3
    answers = [sign_in(person, "not the pass phrase") for _ in range(3)]
    locked = sign_in(person)
    assert [row.status_code for row in answers[:2]] == [401, 401]
    assert (locked.status_code, locked.json()["code"]) == (429, "locked_out")
    assert locked.headers["Content-Type"] == "application/problem+json"
    assert not DeviceToken.objects.exists()


def test_an_old_token_does_not_stand_in_the_way_of_a_new_one(person):
    assert sign_in(person, Authorization="Bearer long-gone").status_code == 201


@pytest.mark.parametrize("missing", ["username", "password", "name"])
def test_a_missing_field_is_named(missing):
    body = {"username": "a", "password": "b", "name": "c"}
    del body[missing]
    answer = APIClient().post("/api/v1/tokens/", body, format="json")
    assert answer.status_code == 400
    assert [row["field"] for row in answer.json()["errors"]] == [f"/{missing}"]


def test_no_depth_of_nesting_breaks_the_sign_in(db):
    answer = APIClient().post("/api/v1/tokens/", "[" * 100_000, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (400, "not_json")


def test_a_revoked_device_is_out_at_once_and_its_line_is_gone(person, api_of):
    first, second = api_of(person), api_of(person)
    rows = second.get("/api/v1/tokens/").data["results"]
    lost = next(row["id"] for row in rows if not row["this_device"])
    assert second.delete(f"/api/v1/tokens/{lost}/").status_code == 204
    assert first.get("/api/v1/tokens/").json()["code"] == "token_refused"
    assert [row["this_device"] for row in second.get("/api/v1/tokens/").data["results"]] == [True]
    assert second.delete(f"/api/v1/tokens/{lost}/").status_code == 404


def test_an_expired_token_is_out_and_not_listed(person, api_of):
    api = api_of(person)
    old, text = device_token_issue(user=person, name="old", life=timedelta(days=1))
    DeviceToken.objects.filter(pk=old.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert APIClient(headers={"Authorization": f"Bearer {text}"}).get("/api/v1/tokens/").status_code == 401
    assert "old" not in [row["name"] for row in api.get("/api/v1/tokens/").data["results"]]


def test_an_administrator_lists_and_ends_anybodys_device(person, api_of):
    token, _ = device_token_issue(user=person, name="lost tablet")
    api = api_of(UserFactory(role=Role.ADMINISTRATOR))
    rows = api.get("/api/v1/tokens/").data["results"]
    assert (token.pk, person.username) in [(row["id"], row["username"]) for row in rows]
    assert api.delete(f"/api/v1/tokens/{token.pk}/").status_code == 204


def test_one_persons_requests_are_throttled_and_anothers_are_not(person, api_of, monkeypatch):
    monkeypatch.setattr(PersonThrottle, "per_minute", 3)
    tablet, phone, other = api_of(person), api_of(person), api_of(UserFactory())
    answers = [api.get("/api/v1/tokens/").status_code for api in (tablet, phone, tablet, phone)]
    assert answers == [200, 200, 200, 429]
    assert other.get("/api/v1/tokens/").status_code == 200
    refused = tablet.get("/api/v1/tokens/")
    assert refused.json()["code"] == "too_many_requests"
    assert 0 < int(refused.headers["Retry-After"]) <= 60


def test_signing_in_is_throttled_by_address(person, monkeypatch):
    monkeypatch.setattr(SignInThrottle, "per_minute", 2)
    assert [sign_in(person).status_code for _ in range(3)] == [201, 201, 429]


def test_throttling_asks_no_database(person, api_of):
    api = api_of(person)
    api.get("/api/v1/tokens/")
    with CaptureQueriesContext(connection) as queries:
        api.get("/api/v1/tokens/")
    assert len(queries) == 2  # the token with its person; the list


def test_the_command_prints_a_token_that_opens_the_door(person, capsys):
    call_command("device_token", person.username, "--name", "curl")
    text = capsys.readouterr().out.strip()
    api = APIClient(headers={"Authorization": f"Bearer {text}"})
    assert api.get("/api/v1/tokens/").data["results"][0]["name"] == "curl"


def test_the_command_refuses_an_unknown_name_and_a_device_name_that_is_too_long(person):
    with pytest.raises(CommandError, match="nobody with an open account"):
        call_command("device_token", "nobody", "--name", "curl")
    with pytest.raises(CommandError, match="80"):
        call_command("device_token", person.username, "--name", "x" * 81)
    assert not DeviceToken.objects.exists()
