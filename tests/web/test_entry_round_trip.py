"""What is typed into the visit form is what a REST client would have sent, and nothing is lost on the way."""

import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from tests.visits.bodies import firing
from tests.web.small_fleet import SmallFleet
from tests.web.test_entry import saved, typed
from visits.models import Visit
from visits.selectors import visit_answer

FOUND = {
    "b1-as_found-high-co2_pct": "10.1",
    "b1-as_found-high-co_ppm": "40",
    "b1-as_found-high-gas_rate_m3_h": "11.4",
    "b1-as_found-high-settled": "on",
    "b1-as_found-low-co2_pct": "9.6",
    "b1-as_found-low-settled": "on",
}
MOVED = {
    "move-1-trim": "throttle",
    "move-1-direction": "clockwise",
    "move-1-amount": "0.25",
    "move-1-unit": "turns",
    "move-1-co2_pct": "9.4",
    "move-1-settled": "on",
}
LEFT = {
    "b1-as_left-high-co2_pct": "9.1",
    "b1-as_left-low-co2_pct": "8.6",
    "b1-as_left-again-co2_pct": "9.1",
    "b1-as_left-high-settled": "on",
    "b1-as_left-low-settled": "on",
    "b1-as_left-again-settled": "on",
}
REST = {
    "change-1-what": "pump",
    "change-1-was": "auto",
    "change-1-set_to": "on",
    "setting-1-unit": "B2",
    "setting-1-setting": "mode",
    "setting-1-before": "auto",
    "setting-1-after": "auto",
    "part-1-part": "electrode",
    "personal_co_alarm-state": "done",
    "flue_terminal-state": "choice:sound",
    "static_inlet_pressure-number": "21.5",
    "gas_filter-state": "not_applicable",
    "gas_filter-reason": "none fitted",
    "end-notes": "quiet",
}
SENT = {
    "tests": [
        ("b1-as_found-high", "high", "as_found", True,
         {"co2_pct": 10.1, "co_ppm": 40.0, "gas_rate_m3_h": 11.4}),
        ("b1-as_found-low", "low", "as_found", True, {"co2_pct": 9.6}),
        ("after-move-1", "high", "working", True, {"co2_pct": 9.4}),
        ("b1-as_left-high", "high", "as_left", True, {"co2_pct": 9.1}),
        ("b1-as_left-low", "low", "as_left", True, {"co2_pct": 8.6}),
        ("b1-as_left-again", "high", "as_left", True, {"co2_pct": 9.1}),
    ],
    "adjustments": [
        {"key": "move-1", "burner": 1, "trim": "throttle", "direction": "clockwise", "turns": 0.25,
         "before_test": "b1-as_found-high", "after_test": "after-move-1"},
    ],
    "temporary_changes": [{"key": "change-1", "what": "pump", "was": "auto", "set_to": "on"}],
    "plant_settings": [
        {"key": "setting-1", "unit": "B2", "setting": "mode", "before": "auto", "after": "auto"},
    ],
    "parts": [{"key": "part-1", "part": "electrode", "burner": 1}],
    "items": [
        {"key": "personal_co_alarm", "code": "personal_co_alarm", "state": "done"},
        {"key": "flue_terminal", "code": "flue_terminal", "state": "done", "choice": "sound"},
        {"key": "static_inlet_pressure", "code": "static_inlet_pressure", "state": "done", "number": 21.5,
         "unit": "mbar"},
        {"key": "gas_filter", "code": "gas_filter", "state": "not_applicable", "reason": "none fitted"},
    ],
}  # fmt: skip
TIMES = {"at", "changed_at", "fitted_at"}


@pytest.fixture
def entry(fleet: SmallFleet, page_of):
    """A technician before a fresh form: the client, and its address."""
    address = reverse("web:enter-visit", args=[uuid.uuid4()]) + f"?appliance={fleet.appliance.pk}"
    return page_of(fleet.technician), address


def untimed(rows):
    return [{name: value for name, value in row.items() if name not in TIMES} for row in rows]


def fields_of(answer) -> dict[str, str]:
    """Everything a browser would send back of the page as it stands."""
    sheet, sent = answer.context["sheet"], {"revision": answer.context["revision"]}
    for form in sheet.all_forms():
        for bound in form:
            value = bound.value()
            if value not in (None, "", False):
                sent[bound.html_name] = "on" if value is True else str(getattr(value, "pk", value))
    return sent


def test_what_is_typed_is_what_a_device_would_have_sent(entry) -> None:
    client, address = entry
    assert client.post(address, typed() | FOUND | MOVED | LEFT | REST).status_code == 302
    answer = visit_answer(saved(address))
    tests = [
        (row["key"], row["point"], row["phase"], row["settled_stated"],
         {name: value for name, value in row["readings"][0].items() if name != "at"})
        for row in answer["tests"]
    ]  # fmt: skip
    assert tests == SENT["tests"]
    for name in ("adjustments", "temporary_changes", "plant_settings", "parts", "items"):
        assert untimed(answer[name]) == untimed(SENT[name]), name
    # Typed in one save, the readings as left stand after the move and count.
    assert not {"moved_after_as_left", "moved_too_soon"} & {row["code"] for row in answer["findings"]}


@pytest.mark.parametrize("units", ["si", "us"])
def test_saving_the_page_as_it_stands_changes_nothing(fleet, entry, units) -> None:
    client, address = entry
    fleet.technician.units = units
    fleet.technician.save()
    client.post(address, typed() | FOUND | MOVED | LEFT | REST)
    before = visit_answer(saved(address))
    page = client.get(address)
    assert client.post(address, typed() | fields_of(page)).status_code == 302
    after = visit_answer(saved(address))
    for name in ("tests", "adjustments", "temporary_changes", "plant_settings", "parts", "items", "notes"):
        assert after[name] == before[name], name


def test_the_page_asks_the_same_number_of_queries_whatever_the_visit_holds(entry) -> None:
    client, address = entry
    client.post(address, typed() | FOUND)
    counts = []
    for more in ({}, MOVED | LEFT | REST):
        page = client.get(address)
        client.post(address, typed() | fields_of(page) | more)
        with CaptureQueriesContext(connection) as captured:
            assert client.get(address).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_completing_with_something_not_put_back_asks_for_the_reason(entry) -> None:
    client, address = entry
    done = typed() | FOUND | REST | {"end-outcome": "completed"}
    refused = client.post(address, done)
    assert refused.status_code == 422
    assert "Not put back: put it back, or say why" in refused.text
    assert 'href="#id_change-1-reason"' in refused.text
    assert client.post(address, done | {"change-1-reason": "valve stuck"}).status_code == 302
    assert "not_put_back" in set(saved(address).findings.values_list("code", flat=True))


def test_a_closed_visit_is_corrected_whole_and_with_a_reason(entry) -> None:
    client, address = entry
    client.post(address, typed() | FOUND | {"end-outcome": "completed"})
    visit = saved(address)
    correct = reverse("web:correct-visit", args=[visit.uuid])
    page = client.get(correct)
    changed = typed() | fields_of(page) | {"b1-as_found-low-co2_pct": "8.6"}
    refused = client.post(correct, changed)
    assert refused.status_code == 422
    said = changed | {"end-correction": "read off the wrong line"}
    assert client.post(correct, said).status_code == 302
    after = Visit.objects.get(pk=visit.pk)
    assert (after.revision, after.is_closed, after.closed_at) == (2, True, visit.closed_at)
    assert after.firingtests.get(point="low").co2_pct == 8.6
    assert after.firingtests.get(point="high").co2_pct == 10.1
    assert after.records.get(current=True).reason == "read off the wrong line"
    # Said once more from the page as it stood, it is another's revision by now.
    assert "changed elsewhere" in client.post(correct, said).text


def photograph() -> SimpleUploadedFile:
    kept = io.BytesIO()
    Image.new("RGB", (40, 30), (120, 90, 60)).save(kept, "JPEG")
    return SimpleUploadedFile("trap.jpg", kept.getvalue(), "image/jpeg")


def test_photographs_come_with_the_save_and_one_that_is_none_spoils_nothing(
    entry, settings, tmp_path
) -> None:
    settings.MEDIA_ROOT = tmp_path
    client, address = entry
    files = [photograph(), SimpleUploadedFile("note.jpg", b"no picture", "image/jpeg")]
    told = {"pictures-photos": files, "pictures-item": "condensate_trap", "pictures-caption": "before"}
    answer = client.post(address, typed() | FOUND | told, follow=True)
    row = saved(address).photographs.stored().get()
    assert (row.item, row.caption) == ("condensate_trap", "before")
    assert "note.jpg was not kept" in answer.text
    later = client.post(
        reverse("web:visit-photographs", args=[row.visit.uuid]), {"pictures-photos": [photograph()]}
    )
    assert later.status_code == 302
    assert saved(address).photographs.count() == 1
    page = client.get(reverse("web:visit", args=[row.visit.uuid])).text
    whole = reverse("photograph", args=[row.visit.uuid, row.key])
    assert f'<a href="{whole}"><img src="{whole}?size=small" alt="' in page


def test_what_another_device_streamed_stands_in_the_grid_and_is_left_alone(fleet, entry, page_of) -> None:
    client, address = entry
    number = address.split("/")[2]
    test = firing("found-high", "high", "as_found", 10, co2_pct=10.1, o2_pct=None)
    body = {
        "save_no": 1,
        "appliance": str(fleet.appliance.uuid),
        "kind": "annual_service",
        "opened_at": timezone.now().isoformat(),
        "tests": [test],
    }
    api = f"/api/v1/visits/{number}/"
    assert client.put(api, body, content_type="application/json").status_code == 201
    page = client.get(address)
    assert page.context["sheet"].found[0].elsewhere == "found-high"
    assert page.context["grid"][0].found.co2_pct == pytest.approx(10.1, abs=0.2)
    low = {"b1-as_found-low-co2_pct": "9.6", "b1-as_found-low-settled": "on"}
    assert client.post(address, typed() | fields_of(page) | low).status_code == 302
    answer = visit_answer(saved(address))
    assert [row["key"] for row in answer["tests"]] == ["found-high", "b1-as_found-low"]
