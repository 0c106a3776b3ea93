"""A row that another device typed too: both sides are shown, a person chooses, and nothing is lost."""

import json

import pytest
from django.urls import reverse

from common.models import AuditLine
from tests.web.test_entry import saved, typed
from tests.web.test_entry_round_trip import fields_of
from visits.selectors import visit_answer

NAME = "items/gas_filter"
VISIT = "0f0e0d0c-0b0a-4908-8706-050403020100"


@pytest.fixture
def begun(fleet, page_of, api_of):
    """A visit that the technician's own device began; the form's client and its address."""
    body = {
        "save_no": 1,
        "appliance": str(fleet.appliance.uuid),
        "kind": "annual_service",
        "opened_at": "2026-03-02T09:00:00Z",
        "notes": "from the phone",
        "items": [{"key": "gas_filter", "code": "gas_filter", "state": "done", "note": "grey dust"}],
        "tests": [
            {"key": "b1-as_found-high", "point": "high", "phase": "as_found", "sequence": 1,
             "readings": [{"at": "2026-03-02T09:10:00Z", "co2_pct": 9.12, "co_ppm": 31}]},
        ],
    }  # fmt: skip
    address = reverse("web:enter-visit", args=[VISIT])
    api = api_of(fleet.technician)
    assert (
        api.put(f"/api/v1/visits/{VISIT}/", json.dumps(body), content_type="application/json").status_code
        == 201
    )
    return page_of(fleet.technician), address


def test_both_sides_are_shown_and_either_can_be_kept(begun) -> None:
    client, address = begun
    changed = {
        "gas_filter-state": "not_done",
        "gas_filter-reason": "seized",
        "b1-as_found-high-co2_pct": "9.4",
        "end-notes": "from the office",
        "personal_co_alarm-state": "done",
    }
    sent = typed() | fields_of(client.get(address)) | changed
    refused = client.post(address, sent)
    assert refused.status_code == 422
    for said in (
        "done, note «grey dust»",
        "not done, reason «seized»",
        "CO2, dry 9.12\u00a0vol %, CO, dry 31\u00a0ppm",
        "CO2, dry 9.40\u00a0vol %",
        "from the phone",
        "seized",
    ):
        assert said in refused.text
    # Not chosen for all: asked again, and still nothing is written.
    some = {"choice-notes": "theirs", f"choice-{NAME}": "mine"}
    assert client.post(address, sent | some).status_code == 422
    assert saved(address).revision == 1
    assert client.post(address, sent | some | {"choice-tests/b1-as_found-high": "mine"}).status_code == 302
    answer = visit_answer(saved(address))
    states = {row["code"]: (row["state"], row.get("reason")) for row in answer["items"]}
    assert states == {"gas_filter": ("not_done", "seized"), "personal_co_alarm": ("done", None)}
    assert answer["notes"] == "from the phone"
    assert answer["tests"][0]["readings"][-1]["co2_pct"] == 9.4
    # What was put over stays in the audit line, and is the browser's from now on.
    was = AuditLine.objects.get(verb="taken_over").detail["was"]
    assert was[NAME]["note"] == "grey dust"
    again = typed() | fields_of(client.get(address)) | {"gas_filter-reason": "seized, part ordered"}
    assert client.post(address, again).status_code == 302
