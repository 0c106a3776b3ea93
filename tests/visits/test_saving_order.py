"""Saving again: what a device may send twice, late, or after somebody else, and what it is answered."""

import copy
import json

import pytest

from common.models import OutboxEvent
from tests.visits.bodies import closed, firing, visit_body
from tests.visits.conftest import all_rows
from visits.models import FiringTest, Visit, VisitRecord

pytestmark = pytest.mark.django_db


@pytest.fixture
def body(scene):
    return visit_body(scene.appliance, scene.analyser)


# First and further saves


def test_first_save_is_201_and_a_further_one_200_each_with_the_revision_as_its_etag(scene, body):
    first = scene.put(body)
    assert first.status_code == 201
    assert first["Content-Type"].startswith("application/json")
    assert first["ETag"].strip('"') == str(first.json()["revision"])
    second = scene.put({**body, "save_no": 2, "notes": "second"})
    assert second.status_code == 200
    assert second["ETag"].strip('"') == str(second.json()["revision"])
    assert second["ETag"] != first["ETag"]
    assert scene.api.get(scene.address)["ETag"].startswith(f'"{second.json()["revision"]}-')


def test_answer_is_the_same_as_what_was_sent_plus_the_judgement(scene, body):
    answer = scene.put(body).json()
    for name in ("appliance", "kind", "analyser", "save_no"):
        assert answer[name] == body[name]
    assert [test["key"] for test in answer["tests"]] == ["found-high", "found-low"]
    sent = body["tests"][0]["readings"][0]
    assert {name: answer["tests"][0]["readings"][0][name] for name in sent if name != "at"} == {
        name: value for name, value in sent.items() if name != "at"
    }
    for name in ("revision", "results", "findings", "health", "not_put_back", "advice"):
        assert name in answer
    assert set(answer["health"]) == {"as_found", "as_left"}
    assert "licensed" in answer["caution"] or "maker" in answer["caution"]


def test_appliance_and_analyser_may_be_named_by_tag_or_serial(scene, body):
    scene.appliance.serial = "SN-77 1"
    scene.appliance.save()
    scene.analyser.serial = "P4-0001"
    scene.analyser.save()
    by_serial = scene.put({**body, "appliance": "SN-77 1", "analyser": "P4-0001"})
    assert by_serial.status_code == 201, by_serial.content
    other = "0190b6a0-0000-7000-8000-000000000001"
    by_tag = scene.put({**body, "appliance": scene.appliance.tag, "analyser": scene.analyser.tag}, uuid=other)
    assert by_tag.status_code == 201, by_tag.content
    assert FiringTest.objects.filter(burner__appliance=scene.appliance).count() == 4
    assert scene.visit.analyser == scene.analyser
    assert "analyser_unknown" not in {finding["code"] for finding in by_tag.json()["findings"]}


def test_the_technician_is_the_tokens(scene, body):
    scene.put({**body, "technician": "someone else"})
    assert scene.visit.technician == scene.technician
    assert scene.visit.attendance.technician == scene.technician


# (a) save numbers


def test_same_save_again_is_answered_byte_for_byte_and_writes_nothing(scene, body):
    first = scene.put(body)
    before = all_rows()
    again = scene.put(body)
    assert again.status_code == 200
    assert again.content == first.content
    assert again["ETag"] == first["ETag"]
    assert all_rows() == before


def test_stored_answer_stays_the_same_after_another_device_has_saved(scene, body):
    first = scene.put(body)
    other = {**body, "tests": [firing("other", "high", "working", 20)]}
    assert scene.put(other, api=scene.second_device()).status_code == 200
    assert scene.put(body).content == first.content


def test_same_body_in_another_order_and_number_form_is_the_same_body(scene, body):
    body["tests"][0]["readings"][0]["co_ppm"] = 22
    first = scene.put(body)
    turned = dict(reversed(list(copy.deepcopy(body).items())))
    turned["tests"][0]["readings"][0]["co_ppm"] = 22.0
    again = scene.put(turned)
    assert again.status_code == 200
    assert again.content == first.content


def test_same_save_number_with_another_body_is_409_save_no_reused(scene, body):
    scene.put(body)
    before, state = all_rows(), scene.get()
    answer = scene.put({**body, "notes": "another"})
    assert answer.status_code == 409
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["code"] == "save_no_reused"
    assert all_rows() == before
    assert scene.get() == state


def test_lower_save_number_is_200_with_the_current_state_and_writes_nothing(scene, body):
    scene.put(body)
    third = {**body, "save_no": 3, "notes": "third"}
    newest = scene.put(third).json()
    before = all_rows()
    late = scene.put({**body, "save_no": 2, "notes": "late", "tests": [firing("x", "high", "working", 40)]})
    assert late.status_code == 200
    assert late.json()["notes"] == "third"
    assert late.json()["revision"] == newest["revision"]
    assert {test["key"] for test in late.json()["tests"]} == {"found-high", "found-low"}
    assert all_rows() == before


def test_save_numbers_count_per_device(scene, body):
    scene.put({**body, "save_no": 9})
    other = scene.put(
        {**body, "save_no": 1, "tests": [firing("b", "high", "working", 30)]}, api=scene.second_device()
    )
    assert other.status_code == 200
    assert {test["key"] for test in other.json()["tests"]} == {"found-high", "found-low", "b"}


def test_retry_of_the_closing_save_is_answered_from_store_not_as_closed(scene, body):
    first = scene.put(closed(body))
    assert first.status_code == 201
    again = scene.put(closed(body))
    assert again.status_code == 200
    assert again.content == first.content
    assert OutboxEvent.objects.filter(kind="visit.closed").count() == 1


def test_late_save_below_the_closing_one_is_200_and_changes_nothing(scene, body):
    scene.put(closed({**body, "save_no": 2}))
    before = all_rows()
    late = scene.put({**body, "notes": "late"})
    assert late.status_code == 200
    assert late.json()["closed"] is True
    assert all_rows() == before


# (b) closed


def test_closed_visit_is_409_with_pointers_to_what_differs(scene, body):
    scene.put(closed(body))
    before, state = all_rows(), scene.get()
    changed = closed(copy.deepcopy(body), save_no=2, notes="more")
    changed["tests"][0]["readings"][0]["co2_pct"] = 9.4
    answer = scene.put(changed)
    assert answer.status_code == 409
    assert answer.json()["code"] == "visit_closed"
    text = answer.content.decode()
    assert "/notes" in text
    assert "/tests/0" in text
    assert "/tests/1" not in text
    assert "/kind" not in text
    assert all_rows() == before
    assert scene.get() == state


def test_closed_comes_before_a_stale_if_match(scene, body):
    scene.put(closed(body))
    answer = scene.put(closed(body, save_no=2, notes="more"), **{"If-Match": '"999"'})
    assert answer.status_code == 409
    assert answer.json()["code"] == "visit_closed"


def test_another_device_cannot_change_a_closed_visit_either(scene, body):
    scene.put(closed(body))
    second = scene.second_device()
    before = all_rows()
    answer = scene.put({**body, "tests": [firing("b", "high", "working", 30)]}, api=second)
    assert answer.status_code == 409
    assert answer.json()["code"] == "visit_closed"
    assert all_rows() == before


def test_closing_writes_one_event_in_the_same_breath(scene, body):
    scene.put(body)
    assert not OutboxEvent.objects.exists()
    scene.put(closed(body, save_no=2))
    event = OutboxEvent.objects.get()
    assert (event.kind, event.subject_id) == ("visit.closed", scene.visit.pk)
    assert event.payload == {"appliance": scene.appliance.pk}


# (c) If-Match


def test_stale_if_match_is_412_and_writes_nothing(scene, body):
    first = scene.put(body)
    scene.put({**body, "save_no": 2, "notes": "second"})
    before, state = all_rows(), scene.get()
    answer = scene.put({**body, "save_no": 3, "notes": "third"}, **{"If-Match": first["ETag"]})
    assert answer.status_code == 412
    assert answer["Content-Type"] == "application/problem+json"
    assert all_rows() == before
    assert scene.get() == state


@pytest.mark.parametrize("form", ["{0}", "*", '"0", {0}', '{0} , "x"'])
def test_if_match_that_holds_lets_the_save_through(scene, body, form):
    first = scene.put(body)
    answer = scene.put({**body, "save_no": 2}, **{"If-Match": form.format(first["ETag"])})
    assert answer.status_code == 200


def test_weak_tag_never_matches(scene, body):
    """RFC 9110 section 13.1.1: If-Match compares strongly."""
    first = scene.put(body)
    answer = scene.put({**body, "save_no": 2}, **{"If-Match": f"W/{first['ETag']}"})
    assert answer.status_code == 412


@pytest.mark.parametrize("tag", ["*", '"1"'])
def test_if_match_on_a_visit_that_is_not_there_is_412(scene, body, tag):
    """RFC 9110 section 13.1.1: with no current representation the condition is false."""
    before = all_rows()
    assert scene.put(body, **{"If-Match": tag}).status_code == 412
    assert all_rows() == before


def test_a_visit_is_the_same_in_capitals(scene, body):
    """RFC 9562 section 4: a UUID is read in either case; some devices write capitals."""
    assert scene.put(body, uuid=scene.uuid.upper()).status_code == 201
    assert scene.put(body).status_code == 200
    told = scene.api.get(f"/api/v1/visits/{scene.uuid.upper()}/now/")
    assert (told.status_code, scene.get()["uuid"]) == (200, scene.uuid)


def test_tag_that_get_gave_is_304_until_anything_changes_and_stands_for_its_revision(scene, body):
    """RFC 9110 sections 8.8.1, 13.1.1 and 13.1.2: a countersignature changes what GET gives."""
    scene.put(body)
    for address in (scene.address, f"{scene.address}now/"):
        held = scene.api.get(address)["ETag"]
        same = scene.api.get(address, headers={"If-None-Match": f'"x", W/{held}'})
        assert (same.status_code, same.content, same["ETag"]) == (304, b"", held)
    held = scene.api.get(scene.address)["ETag"]
    Visit.objects.update(uncountersigned=True)
    changed = scene.api.get(scene.address, headers={"If-None-Match": held})
    assert (changed.status_code, changed["ETag"] == held) == (200, False)
    assert scene.put({**body, "save_no": 2}, **{"If-Match": held}).status_code == 200
    packed = scene.api.get(scene.address, headers={"Accept-Encoding": "gzip"})["ETag"]
    assert scene.put({**body, "save_no": 3}, **{"If-Match": packed}).status_code == 200
    stale = scene.put({**body, "save_no": 4}, **{"If-Match": held})
    assert (stale.status_code, stale.json()["code"]) == (412, "revision_stale")


@pytest.mark.parametrize("tags", ["*", '"0", "1"', 'W/"1"'])
def test_if_none_match_keeps_a_save_off_what_is_stored_but_not_its_own_retry(scene, body, tags):
    """RFC 9110 section 13.1.2."""
    assert scene.put(body, **{"If-None-Match": tags}).status_code == 201
    assert scene.put(body, **{"If-None-Match": tags}).status_code == 200
    before = all_rows()
    answer = scene.put({**body, "save_no": 2}, **{"If-None-Match": tags})
    assert (answer.status_code, answer.json()["code"]) == (412, "revision_stale")
    assert all_rows() == before
    assert scene.put({**body, "save_no": 2}, **{"If-None-Match": '"2"'}).status_code == 200


def test_correction_of_a_revision_that_was_corrected_meanwhile_is_412(scene, body):
    whole = closed(body)
    tag = scene.put(whole)["ETag"]

    def correct(number, **headers):
        raw = json.dumps({**whole, "save_no": number, "notes": f"n{number}", "reason": "slip"})
        address = f"{scene.address}corrections/"
        return scene.api.post(address, raw, content_type="application/json", headers=headers)

    assert correct(2, **{"If-Match": tag}).status_code == 200
    assert correct(2, **{"If-Match": tag}).status_code == 200
    before = all_rows()
    assert correct(3, **{"If-Match": tag}).status_code == 412
    assert all_rows() == before


def test_retry_with_its_first_if_match_still_gets_the_stored_answer(scene, body):
    first = scene.put(body)
    second = scene.put({**body, "save_no": 2}, **{"If-Match": first["ETag"]})
    again = scene.put({**body, "save_no": 2}, **{"If-Match": first["ETag"]})
    assert again.status_code == 200
    assert again.content == second.content


# (d) merging


def test_new_rows_are_added_own_rows_changed_absent_rows_stay(scene, body):
    scene.put(body)
    changed = copy.deepcopy(body["tests"][0])
    changed["readings"][0]["co2_pct"] = 9.2
    answer = scene.put({**body, "save_no": 2, "tests": [changed, firing("left-high", "high", "as_left", 40)]})
    assert answer.status_code == 200
    values = {test["key"]: test["readings"][0]["co2_pct"] for test in answer.json()["tests"]}
    assert values == {"found-high": 9.2, "found-low": 8.8, "left-high": 9.0}
    stored = dict(FiringTest.objects.values_list("key", "co2_pct"))
    assert stored == values


def test_absent_members_stay(scene, body):
    scene.put({**body, "notes": "gate code at reception"})
    without = {name: value for name, value in body.items() if name not in ("analyser", "notes")}
    answer = scene.put({**without, "save_no": 2}).json()
    assert answer["notes"] == "gate code at reception"
    assert answer["analyser"] == body["analyser"]


def test_every_kind_of_row_merges_by_its_key(scene, body):
    rows = {
        "adjustments": [
            {"key": "a1", "trim": "throttle", "at": "2026-03-02T09:20:00Z", "direction": "clockwise"}
        ],
        "temporary_changes": [{"key": "c1", "what": "lag boiler", "was": "off", "set_to": "on"}],
        "items": [{"key": "i1", "code": "burner_door_seal", "state": "done"}],
        "parts": [{"key": "p1", "part": "igniter"}],
    }
    scene.put({**body, **rows})
    scene.put({**body, "save_no": 2})
    more = {
        "adjustments": [{"key": "a2", "trim": "offset", "direction": "clockwise"}],
        "temporary_changes": [{"key": "c2", "what": "set point"}],
        "items": [{"key": "i2", "code": "condensate_trap", "state": "not_applicable"}],
        "parts": [{"key": "p2", "part": "gasket"}],
    }
    answer = scene.put({**body, "save_no": 3, **more}).json()
    for name in rows:
        assert [row["key"] for row in answer[name]] == [rows[name][0]["key"], more[name][0]["key"]], name
    assert scene.visit.adjustments.count() == 2
    assert scene.visit.temporarychanges.count() == 2
    assert scene.visit.visititems.count() == 2


def test_withdrawn_row_stays_visible_with_its_reason_and_is_judged_no_more(scene, body):
    body["tests"].append(firing("wrong", "high", "working", 20, o2_pct=21.5))
    codes = {finding["code"] for finding in scene.put(body).json()["findings"]}
    assert "o2_above_ambient" in codes
    answer = scene.put(
        {**body, "save_no": 2, "tests": [{"key": "wrong", "withdrawn_reason": "probe was out"}]}
    ).json()
    row = next(test for test in answer["tests"] if test["key"] == "wrong")
    assert row["withdrawn_reason"] == "probe was out"
    assert row["readings"][0]["o2_pct"] == 21.5
    assert "o2_above_ambient" not in {finding["code"] for finding in answer["findings"]}
    assert "wrong" not in answer["results"]
    assert FiringTest.objects.get(key="wrong").withdrawn_reason == "probe was out"
    assert FiringTest.objects.standing().filter(key="wrong").count() == 0


def test_row_of_another_device_is_409_row_conflict_with_both(scene, body):
    scene.put(body)
    second = scene.second_device()
    before, state = all_rows(), scene.get()
    theirs = copy.deepcopy(body["tests"][0])
    theirs["readings"][0]["co2_pct"] = 8.1
    answer = scene.put({**body, "tests": [theirs, firing("b", "high", "working", 30)]}, api=second)
    assert answer.status_code == 409
    assert answer.json()["code"] == "row_conflict"
    text = answer.content.decode().replace(" ", "")
    assert "/tests/0" in text
    assert '"co2_pct":8.1' in text
    assert '"co2_pct":9' in text
    assert all_rows() == before
    assert scene.get() == state


def test_another_devices_row_sent_unchanged_is_no_conflict(scene, body):
    scene.put(body)
    answer = scene.put(
        {**body, "tests": [*body["tests"], firing("b", "high", "working", 30)]}, api=scene.second_device()
    )
    assert answer.status_code == 200
    assert len(answer.json()["tests"]) == 3


def test_device_that_was_refused_may_send_again_under_the_same_number(scene, body):
    """A refusal takes no save number: the repaired body goes through."""
    scene.put(body)
    second = scene.second_device()
    theirs = firing("found-high", "high", "as_found", 10, co2_pct=8.1)
    assert scene.put({**body, "tests": [theirs]}, api=second).status_code == 409
    assert scene.put({**body, "tests": [firing("b", "high", "working", 30)]}, api=second).status_code == 200


def test_record_is_kept_whole_while_open_and_settled_on_closing(scene, body):
    scene.put(body)
    scene.put({**body, "save_no": 2, "notes": "on"})
    scene.put(closed(body, save_no=3))
    record = VisitRecord.objects.get(visit=scene.visit, current=True)
    assert VisitRecord.objects.filter(visit=scene.visit).count() == 1
    assert record.by == scene.technician


# Who may


def test_only_the_firms_people_who_may_write_can_save(scene, body, colleague, api_of):
    scene.put(body)
    other = api_of(colleague)
    before = all_rows()
    answer = scene.put({**body, "notes": "not mine"}, api=other)
    assert answer.status_code == 403
    assert answer.json()["code"] == "not_permitted"
    assert all_rows() == before


def test_nobody_signed_in_is_401(scene, body):
    scene.api.credentials()
    answer = scene.put(body)
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"
