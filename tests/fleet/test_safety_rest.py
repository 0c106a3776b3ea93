"""The safety state over REST: the same service as the page's, safe to send twice, fit for a basement."""

from uuid import uuid4

import pytest
from django.utils import timezone

from common.outbox import work_through
from fleet.models import Appliance, SafetyEvent
from fleet.safety import categories_of
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def appliance():
    return make.ApplianceFactory(plant__site__customer__country="GB")


@pytest.fixture
def api(api_of):
    return api_of(make.UserFactory(role="technician"))


def sent(api, appliance, **members):
    body = {"key": str(uuid4()), "state": "isolated", "reason": "CO 900 ppm at high fire", "told": "Mr Hale"}
    return api.post(f"/api/v1/appliances/{appliance.uuid}/safety/", body | members, format="json")


def state_of(appliance) -> str:
    return Appliance.objects.get(pk=appliance.pk).safety_state


def test_isolated_with_its_category_alerts_the_office_once_and_has_a_notice(
    api, appliance, mailoutbox, client
) -> None:
    office = make.UserFactory(role="office")
    key = str(uuid4())
    given = {"key": key, "answer": "refused", "category": "immediately_dangerous"}
    first = sent(api, appliance, **given)
    again = sent(api, appliance, **given)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    row = first.json()
    assert (row["state_name"], row["category_name"]) == (
        "isolated and labelled",
        "Immediately Dangerous (ID)",
    )
    assert (row["told"], row["answer"], row["key"]) == ("Mr Hale", "refused", key)
    assert SafetyEvent.objects.count() == 1
    assert state_of(appliance) == "isolated"
    work_through(timezone.now())
    assert [letter.to for letter in mailoutbox] == [[office.email]]
    assert "Immediately Dangerous (ID)" in mailoutbox[0].body
    client.force_login(office, backend="django.contrib.auth.backends.ModelBackend")
    assert "Immediately Dangerous (ID)" in client.get(row["notice"]).text


def test_a_key_used_for_another_event_is_refused(api, appliance) -> None:
    key = str(uuid4())
    sent(api, appliance, key=key)
    answer = sent(api, appliance, key=key, reason="something else")
    assert (answer.status_code, answer.json()["code"]) == (409, "key_reused")


def test_only_who_has_seen_why_it_is_off_returns_it(api, appliance) -> None:
    event = sent(api, appliance).json()
    blind = sent(api, appliance, state="returned", reason="repaired")
    assert [row["field"] for row in blind.json()["errors"]] == ["/last_event"]
    stale = sent(api, appliance, state="returned", reason="repaired", last_event=0)
    assert (stale.status_code, stale.json()["last_event"]) == (409, event["id"])
    assert state_of(appliance) == "isolated"
    seen = sent(api, appliance, state="returned", reason="repaired, tested", last_event=event["id"])
    assert (seen.status_code, seen.json()["notice"]) == (201, None)
    assert state_of(appliance) == "returned"


def test_a_device_that_was_out_of_reach_does_not_undo_a_later_return(api, appliance) -> None:
    event = sent(api, appliance).json()
    sent(api, appliance, state="returned", reason="repaired", last_event=event["id"])
    late = sent(api, appliance, at="2026-03-02T09:00:00Z")
    assert (late.status_code, late.json()["code"]) == (409, "changed_meanwhile")
    assert state_of(appliance) == "returned"


def test_a_clock_that_is_ahead_loses_no_leaving_off(api, appliance) -> None:
    answer = sent(api, appliance, at="2099-01-01T00:00:00Z")
    assert answer.status_code == 201
    assert SafetyEvent.objects.get().at <= timezone.now()


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"told": ""}, "/told"),
        ({"reason": ""}, "/reason"),
        ({"state": "exploded"}, "/state"),
        ({"key": "k1"}, "/key"),
        ({"at": "2026-03-02T09:00:00"}, "/at"),
        ({"at": 1_700_000_000}, "/at"),
        ({"fuel": "x"}, "/fuel"),
    ],
)
def test_what_cannot_be_taken_is_named_and_nothing_is_written(api, appliance, given, field) -> None:
    answer = sent(api, appliance, **given)
    assert answer.status_code == 400
    assert [row["field"] for row in answer.json()["errors"]] == [field]
    assert SafetyEvent.objects.count() == 0


def test_a_category_of_an_older_list_is_kept_as_it_came(api, appliance) -> None:
    assert sent(api, appliance, category="bygone").json()["category_name"] == "bygone"


def test_words_are_those_of_the_country_else_the_general_ones(api, appliance) -> None:
    assert [row.code for row in categories_of("GB")] == ["immediately_dangerous", "at_risk"]
    assert [row.code for row in categories_of("FR")] == ["immediate_danger", "at_risk", "advice"]
    sent(api, appliance)
    answer = api.get(f"/api/v1/appliances/{appliance.uuid}/safety/").json()
    assert (answer["state"], answer["last_event"]) == ("isolated", answer["events"][0]["id"])
    assert {row["mark"] for row in answer["categories"]} == {"memory"}
