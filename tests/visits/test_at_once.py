"""Saves that arrive at the same moment, on PostgreSQL, where they truly run side by side."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, connections

from tests.factories import ApplianceFactory
from tests.visits.bodies import closed, firing, visit_body
from tests.visits.conftest import set_up_scene
from visits.models import Attendance, FiringTest, Visit, VisitRecord

pytestmark = [
    pytest.mark.postgres,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        "connection.vendor != 'postgresql'", reason="needs PostgreSQL: set DATABASE_URL to run this"
    ),
]
assert connection


def at_once(*calls):
    """Run the calls in threads that start together; their answers in order."""
    gate = threading.Barrier(len(calls))

    def run(call):
        try:
            gate.wait(timeout=20)
            return call()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(calls)) as pool:
        return [future.result(timeout=60) for future in [pool.submit(run, call) for call in calls]]


@pytest.fixture
def scene(api_of):
    return set_up_scene(api_of)


def test_same_new_visit_from_one_device_twice_at_once_is_stored_once(scene):
    body = visit_body(scene.appliance, scene.analyser)
    for number in range(5):
        name = f"00000000-0000-7000-8000-{number:012}"
        answers = at_once(*[lambda name=name: scene.put(body, uuid=name)] * 3)
        assert sorted(answer.status_code for answer in answers) == [200, 200, 201]
        assert len({answer.content for answer in answers}) == 1
    assert Visit.objects.count() == 5
    assert VisitRecord.objects.count() == 5
    assert FiringTest.objects.count() == 10
    assert Attendance.objects.count() == 1


def test_same_new_visit_from_two_devices_at_once_holds_the_rows_of_both(scene):
    second = scene.second_device()
    for number in range(5):
        name = f"00000000-0000-7000-8000-{number:012}"
        mine = visit_body(scene.appliance, scene.analyser, tests=[firing("a", "high", "as_found", 10)])
        theirs = visit_body(scene.appliance, scene.analyser, tests=[firing("b", "low", "as_found", 12)])
        answers = at_once(
            lambda name=name, mine=mine: scene.put(mine, uuid=name),
            lambda name=name, theirs=theirs: scene.put(theirs, uuid=name, api=second),
        )
        assert sorted(answer.status_code for answer in answers) == [200, 201], [a.content for a in answers]
        kept = scene.api.get(f"/api/v1/visits/{name}/").json()
        assert {test["key"] for test in kept["tests"]} == {"a", "b"}


def test_two_appliances_of_one_plant_open_one_attendance_at_once(scene):
    second = ApplianceFactory(plant=scene.appliance.plant, model=scene.appliance.model)
    for day in range(1, 6):
        names = [f"00000000-0000-7000-8000-{day:06}{number:06}" for number in (1, 2)]
        bodies = [
            visit_body(appliance, scene.analyser, opened_at=f"2026-03-{day:02}T09:00:00Z")
            for appliance in (scene.appliance, second)
        ]
        answers = at_once(
            *[lambda n=name, b=body: scene.put(b, uuid=n) for name, body in zip(names, bodies, strict=True)]
        )
        assert [answer.status_code for answer in answers] == [201, 201], [a.content for a in answers]
        assert Attendance.objects.filter(plant=scene.appliance.plant).count() == day


def test_two_saves_of_one_stored_visit_at_once_lose_nothing(scene):
    second = scene.second_device()
    scene.put(visit_body(scene.appliance, scene.analyser))
    for number in range(2, 7):
        mine = visit_body(
            scene.appliance,
            scene.analyser,
            save_no=number,
            tests=[firing(f"a{number}", "high", "working", 20)],
        )
        theirs = visit_body(
            scene.appliance,
            scene.analyser,
            save_no=number,
            tests=[firing(f"b{number}", "low", "working", 25)],
        )
        answers = at_once(
            lambda mine=mine: scene.put(mine), lambda theirs=theirs: scene.put(theirs, api=second)
        )
        assert [answer.status_code for answer in answers] == [200, 200]
        assert len({answer["ETag"] for answer in answers}) == 2
    kept = {test["key"] for test in scene.get()["tests"]}
    assert kept == {"found-high", "found-low", *(f"{who}{number}" for who in "ab" for number in range(2, 7))}
    assert scene.visit.revision == 1 + 10


def test_closing_and_saving_at_once_end_closed_with_all_that_was_acknowledged(scene):
    second = scene.second_device()
    for number in range(5):
        name = f"00000000-0000-7000-8000-{number:012}"
        body = visit_body(scene.appliance, scene.analyser)
        scene.put(body, uuid=name)
        theirs = {**body, "tests": [firing("b", "low", "working", 12)]}
        closing, saving = at_once(
            lambda name=name, body=body: scene.put(closed({**body, "save_no": 2}), uuid=name),
            lambda name=name, theirs=theirs: scene.put(theirs, uuid=name, api=second),
        )
        assert closing.status_code == 200
        assert saving.status_code in (200, 409)
        kept = scene.api.get(f"/api/v1/visits/{name}/").json()
        assert kept["closed"] is True
        assert ("b" in {test["key"] for test in kept["tests"]}) == (saving.status_code == 200)
