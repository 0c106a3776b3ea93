"""A closed visit changes only by a correction: one more revision with its reason; the old one stays."""

import copy
import json

import pytest

from common.models import OutboxEvent
from tests.visits.bodies import closed, codes, firing, visit_body
from tests.visits.conftest import all_rows
from visits.models import FiringTest, VisitRecord

pytestmark = pytest.mark.django_db


@pytest.fixture
def body(scene):
    body = closed(visit_body(scene.appliance, scene.analyser))
    assert scene.put(body).status_code == 201
    return body


def correct(scene, body, *, api=None):
    return (api or scene.api).post(
        f"{scene.address}corrections/", json.dumps(body), content_type="application/json"
    )


def corrected(body, **members):
    copied = copy.deepcopy(body)
    copied["tests"][0]["readings"][0]["co2_pct"] = 10.3
    del copied["tests"][0]["readings"][0]["o2_pct"]
    return {**copied, "save_no": 2, "reason": "digits swapped", **members}


def test_correction_makes_the_next_revision_and_both_stay_visible(scene, body):
    first = scene.get()
    answer = correct(scene, corrected(body))
    assert answer.status_code == 200, answer.content
    assert answer.json()["revision"] == first["revision"] + 1
    assert answer["ETag"] == f'"{first["revision"] + 1}"'
    assert scene.get()["tests"][0]["readings"][0]["co2_pct"] == 10.3
    newer, older = VisitRecord.objects.filter(visit=scene.visit).order_by("-revision")
    assert newer.corrects == older
    assert (newer.current, older.current) == (True, False)
    assert (newer.by, newer.reason) == (scene.technician, "digits swapped")
    revisions = scene.api.get(f"{scene.address}corrections/").json()["revisions"]
    assert [row["revision"] for row in revisions] == [first["revision"] + 1, first["revision"]]
    text = json.dumps(revisions)
    assert "digits swapped" in text
    assert "10.3" in text
    assert '"co2_pct": 9.0' in text


def test_correction_is_judged_anew(scene, body):
    answer = correct(scene, corrected(body)).json()
    assert "outside_acceptance" in codes(answer)
    assert FiringTest.objects.get(key="found-high").co2_pct == 10.3
    assert scene.visit.is_closed


def test_body_of_a_correction_stands_for_the_whole_visit(scene, body):
    """A row that it leaves out is no longer of the visit; the corrected revision still shows it."""
    left = corrected(body)
    del left["tests"][1]
    answer = correct(scene, left).json()
    assert [test["key"] for test in answer["tests"] if not test.get("withdrawn_reason")] == ["found-high"]
    assert not FiringTest.objects.standing().filter(key="found-low").exists()
    assert not FiringTest.objects.for_drift().filter(key="found-low").exists()
    revisions = scene.api.get(f"{scene.address}corrections/").json()["revisions"]
    assert "found-low" in json.dumps(revisions[1])


def test_row_may_be_added_by_a_correction(scene, body):
    more = corrected(body)
    more["tests"].append(firing("found-mid", "percent", "working", 20) | {"percent": 50})
    assert correct(scene, more).status_code == 200
    assert FiringTest.objects.filter(key="found-mid").exists()


@pytest.mark.parametrize("reason", [None, "", "   ", 5, "x" * 401, ["a"], "a\x00b"])
def test_correction_without_a_reason_is_refused_and_writes_nothing(scene, body, reason):
    before, state = all_rows(), scene.get()
    wrong = corrected(body, reason=reason)
    if reason is None:
        del wrong["reason"]
    answer = correct(scene, wrong)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "/reason"
    assert all_rows() == before
    assert scene.get() == state


def test_same_correction_again_changes_nothing(scene, body):
    first = correct(scene, corrected(body))
    before = all_rows()
    again = correct(scene, corrected(body))
    assert again.status_code == 200
    assert again.content == first.content
    assert all_rows() == before
    assert OutboxEvent.objects.filter(kind="visit.corrected").count() == 1


def test_correction_announces_itself_once(scene, body):
    correct(scene, corrected(body))
    event = OutboxEvent.objects.get(kind="visit.corrected")
    assert event.subject_id == scene.visit.pk
    assert event.payload == {"appliance": scene.appliance.pk}
    assert OutboxEvent.objects.filter(kind="visit.closed").count() == 1


def test_number_of_a_correction_used_for_another_body_is_409(scene, body):
    correct(scene, corrected(body))
    before = all_rows()
    answer = correct(scene, corrected(body, notes="other"))
    assert answer.status_code == 409
    assert answer.json()["code"] == "save_no_reused"
    assert all_rows() == before


def test_second_correction_stands_on_the_first(scene, body):
    correct(scene, corrected(body))
    answer = correct(scene, corrected(body, save_no=3, notes="second"))
    assert answer.json()["revision"] == 3
    latest = VisitRecord.objects.get(visit=scene.visit, revision=3)
    assert latest.corrects.revision == 2
    assert VisitRecord.objects.filter(visit=scene.visit, current=True).count() == 1


def test_open_visit_is_saved_not_corrected(scene):
    body = visit_body(scene.appliance, scene.analyser)
    scene.put(body)
    before = all_rows()
    answer = correct(scene, corrected(closed(body)))
    assert answer.status_code == 409
    assert answer.json()["code"] == "visit_open"
    assert all_rows() == before


def test_correction_cannot_open_the_visit_again(scene, body):
    before = all_rows()
    opened = corrected(body)
    del opened["closed_at"], opened["outcome"]
    assert correct(scene, opened).status_code == 400
    assert all_rows() == before
    assert scene.visit.is_closed


def test_correction_of_nothing_is_404(scene):
    assert correct(scene, corrected(closed(visit_body(scene.appliance)))).status_code == 404


def test_correction_is_for_whoever_may_write_the_visit(scene, body, colleague, api_of):
    other = api_of(colleague)
    before = all_rows()
    assert correct(scene, corrected(body), api=other).status_code == 403
    assert all_rows() == before


def test_bad_body_of_a_correction_is_refused_like_any_other(scene, body):
    before = all_rows()
    assert correct(scene, corrected(body, kind=5)).status_code == 400
    answer = scene.api.post(f"{scene.address}corrections/", "{}", content_type="text/plain")
    assert answer.status_code == 415
    assert all_rows() == before
