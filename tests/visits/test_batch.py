"""Many visits in one request: each answered as PUT would answer it, none spoilt by another."""

import json
import uuid

import pytest
from django.db import connection

from tests.factories import AnalyserFactory, ApplianceFactory, AttendanceFactory
from tests.visits.bodies import closed, firing, visit_body
from tests.visits.conftest import JSON, all_rows, set_up_scene
from tests.visits.test_query_count import queries_of_call
from visits.models import Attendance, Visit
from visits.saving import many

ADDRESS = "/api/v1/visits/batch/"


def post(api, visits):
    raw = visits if isinstance(visits, str | bytes) else json.dumps({"visits": visits})
    return api.post(ADDRESS, raw, content_type=JSON)


def entry(body, name=None, **members):
    return {"uuid": str(name or uuid.uuid4()), "body": body, **members}


def comparable(value):
    """An answer without what two visits with one content cannot share, numbers to nine figures.

    Sums over many visits run in another order than over one.
    """
    if isinstance(value, dict):
        own = {"uuid", "received_at", "attendance"}
        return {name: comparable(item) for name, item in value.items() if name not in own}
    if isinstance(value, list):
        return [comparable(item) for item in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value


def test_each_visit_is_answered_as_put_would_answer_it(scene):
    body = closed(
        visit_body(
            scene.appliance,
            scene.analyser,
            temporary_changes=[{"key": "sp", "what": "set point", "was": "70", "set_to": "85"}],
            parts=[{"key": "p", "part": "fan"}],
            items=[{"key": "s", "code": "seal", "state": "done"}],
            strange="kept",
        )
    )
    named = {**body, "appliance": scene.appliance.tag, "analyser": scene.analyser.tag}
    unknown = {**body, "analyser": "P4-unheard-of"}
    bodies = [body, named, unknown, visit_body(scene.appliance)]
    alone = [scene.put(one, uuid=str(uuid.uuid4())) for one in bodies]
    together = post(scene.api, [entry(one) for one in bodies])
    assert together.status_code == 200, together.content
    answers = together.json()["answers"]
    assert [one["status"] for one in answers] == [201, 201, 201, 201]
    assert [one["etag"] for one in answers] == ['"1"'] * 4
    for one, other in zip(alone, answers, strict=True):
        assert comparable(other["answer"]) == comparable(one.json())
        stored = scene.api.get(f"/api/v1/visits/{other['uuid']}/").json()
        assert comparable(stored["findings"]) == comparable(one.json()["findings"])
    assert Attendance.objects.count() == 1


def test_bad_ones_spoil_nothing_and_are_told_apart(scene):
    good, closed_one = entry(visit_body(scene.appliance)), str(uuid.uuid4())
    scene.put(closed(visit_body(scene.appliance)), uuid=closed_one)
    someone_elses = AttendanceFactory(plant=scene.appliance.plant)
    nan = visit_body(scene.appliance, notes="x", odd=float("nan"))
    answers = post(
        scene.api,
        [
            entry(visit_body(scene.appliance, kind="holiday")),
            good,
            entry({**visit_body(scene.appliance), "appliance": "T999"}),
            entry({**visit_body(scene.appliance), "save_no": 2, "notes": "late"}, closed_one),
            entry(visit_body(scene.appliance, attendance=str(someone_elses.uuid))),
            entry(visit_body(scene.appliance, tests=[{**firing("a", "high", "as_found", 1), "burner": 7}])),
            entry(visit_body(scene.appliance), if_match='"1"'),
            {"uuid": "no uuid", "body": visit_body(scene.appliance)},
            "not even an object",
            entry(nan),
            {"uuid": float("nan"), "body": visit_body(scene.appliance)},
            {"uuid": [float("inf")], "body": visit_body(scene.appliance)},
        ],
    ).json()["answers"]
    assert [(one["status"], one.get("problem", {}).get("code")) for one in answers] == [
        (400, "invalid"),
        (201, None),
        (400, "unknown_appliance"),
        (409, "visit_closed"),
        (403, "not_permitted"),
        (400, "unknown_burner"),
        (412, "revision_stale"),
        *[(400, "invalid")] * 5,
    ]
    assert answers[0]["problem"]["errors"][0]["field"] == "/kind"
    assert [one["uuid"] for one in answers if one["uuid"] is None or len(one["uuid"]) < 36] == [
        "no uuid",
        None,
        "nan",
        "a list",
    ]
    assert Visit.objects.count() == 2


def test_a_batch_sent_again_changes_nothing_and_is_answered_alike(scene):
    sent = [entry(closed(visit_body(scene.appliance, notes=str(number)))) for number in range(3)]
    first = post(scene.api, sent).json()["answers"]
    rows = all_rows()
    again = post(scene.api, sent).json()["answers"]
    assert [one["status"] for one in again] == [200, 200, 200]
    assert [one["answer"] for one in again] == [one["answer"] for one in first]
    assert scene.put(sent[0]["body"], uuid=sent[0]["uuid"]).json() == first[0]["answer"]
    assert all_rows() == rows


def test_saves_of_one_visit_in_one_batch_are_taken_in_their_order(scene):
    name = uuid.uuid4()
    body = visit_body(scene.appliance)
    later = {**body, "save_no": 2, "tests": [*body["tests"], firing("w", "high", "working", 30)]}
    last = closed({**later, "save_no": 3})
    answers = post(scene.api, [entry(body, name), entry(later, name), entry(last, name), entry(body, name)])
    assert [one["status"] for one in answers.json()["answers"]] == [201, 200, 200, 200]
    visit = Visit.objects.get(uuid=name)
    assert visit.is_closed
    assert visit.revision == 3
    assert visit.firingtests.count() == 3


@pytest.mark.parametrize(
    ("raw", "status", "code"),
    [
        ("{", 400, "not_json"),
        ("[]", 400, "invalid"),
        ('{"visits": []}', 400, "invalid"),
        ('{"visits": {}}', 400, "invalid"),
        ("[" * 5000, 400, "not_json"),
        ('{"visits": [' + ",".join(["{}"] * 201) + "]}", 413, "batch_too_long"),
        ('{"visits": ["' + "x" * 2_700_000 + '"]}', 413, "too_large"),
    ],
)
def test_what_is_no_batch_is_refused_whole(scene, raw, status, code):
    answer = post(scene.api, raw)
    assert (answer.status_code, answer.json()["code"]) == (status, code)


def test_a_failure_in_the_joint_work_costs_speed_only(scene, monkeypatch, caplog):
    def broken(*_):
        raise RuntimeError("invented")

    monkeypatch.setattr(many, "drafts_store", broken)
    answers = post(scene.api, [entry(visit_body(scene.appliance)), entry(visit_body(scene.appliance))])
    assert [one["status"] for one in answers.json()["answers"]] == [201, 201]
    assert "one by one" in caplog.text


def test_a_visit_that_fails_for_no_fault_of_its_own_is_told_so_and_the_rest_is_saved(scene, monkeypatch):
    bad = entry(visit_body(scene.appliance))
    save = many.visit_save

    def sometimes(*, visit_uuid, **rest):
        if str(visit_uuid) == bad["uuid"]:
            raise RuntimeError("invented")
        return save(visit_uuid=visit_uuid, **rest)

    monkeypatch.setattr(many, "visit_save", sometimes)
    monkeypatch.setattr(many, "drafts_store", lambda drafts: drafts.no_such_thing)
    answers = post(scene.api, [bad, entry(visit_body(scene.appliance))]).json()["answers"]
    assert [(one["status"], one.get("problem", {}).get("code")) for one in answers] == [
        (500, "failed"),
        (201, None),
    ]


@pytest.mark.django_db(transaction=True)
def test_number_of_queries_does_not_grow_with_the_number_of_visits(api_of):
    """Read: the token with its person; which visits are known; burners, trims, specs; analysers, periods,
    channels; attendances; licences; limits; gases. Written: attendances, visits, firing tests, adjustments,
    temporary changes, items, results, findings, parts, outbox events, records.
    """
    scene = set_up_scene(api_of)

    def batch(count, day):
        """Every visit another boiler of another model, another analyser and another plant."""
        visits = []
        for _ in range(count):
            body = visit_body(
                ApplianceFactory(),
                AnalyserFactory(),
                opened_at=f"2026-03-{day:02}T09:00:00Z",
                adjustments=[{"key": "a", "trim": "throttle", "direction": "clockwise"}],
                temporary_changes=[{"key": "sp", "what": "set point"}],
                parts=[{"key": "p", "part": "fan"}],
                items=[{"key": "s", "code": "seal", "state": "done"}],
            )
            visits.append(entry(closed(body)))
        return visits

    post(scene.api, batch(1, 1))  # fills caches
    few, many_ = (
        queries_of_call(lambda visits=visits: post(scene.api, visits))
        for visits in (batch(2, 2), batch(40, 3))
    )
    assert len(many_) == len(few), [sql[:100] for sql in many_]
    assert len(many_) <= 26, [sql[:100] for sql in many_]
    assert Visit.objects.count() == 43
    assert connection.in_atomic_block is False
