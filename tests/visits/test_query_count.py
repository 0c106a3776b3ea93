"""One save takes the same number of queries whatever its size, at most 20."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.visits.bodies import closed, firing, move, visit_body
from tests.visits.conftest import set_up_scene

CONTROL = ("BEGIN", "COMMIT", "SAVEPOINT", "RELEASE SAVEPOINT", "ROLLBACK")


def body_of(scene, tests, readings):
    rows = []
    for number in range(tests):
        row = firing(f"t{number}", "high" if number % 2 else "low", "as_found", number, ambient_co_ppm=12)
        row["readings"] = [
            {**row["readings"][0], "at": f"2026-03-02T09:{number:02}:{second:02}Z"}
            for second in range(readings)
        ]
        rows.append(row)
    body = visit_body(scene.appliance, scene.analyser)
    body["tests"] = rows
    body["adjustments"] = [move(f"a{number}", number) for number in range(tests)]
    body["temporary_changes"] = [{"key": f"c{number}", "what": "pump"} for number in range(tests)]
    body["plant_settings"] = [
        {"key": f"s{number}", "unit": "B2", "setting": "mode", "before": "auto", "after": "manual"}
        for number in range(tests)
    ]
    body["items"] = [{"key": f"i{number}", "code": "seal", "state": "done"} for number in range(tests)]
    return body


def queries_of(scene, body, **more):
    return queries_of_call(lambda: scene.put(body, **more))


def queries_of_call(call):
    """What a call of the API asks of the database, but for the control of transactions."""
    with CaptureQueriesContext(connection) as captured:
        answer = call()
    assert answer.status_code in (200, 201), answer.content[:300]
    return [row["sql"] for row in captured if not row["sql"].startswith(CONTROL)]


def shapes(queries):
    return [" ".join(sql.split()[:3]) for sql in queries]


@pytest.mark.django_db(transaction=True)
def test_size_of_a_visit_does_not_change_the_number_of_queries(api_of):
    """Both sizes have findings; with none there is one write less.

    Without a transaction around the test, so that what is counted is what a web process sends.

    Read: the token with its person; the visit's record (none yet); the appliance with burners and model;
    the attendance of the day; the analyser's period; its channels; firing specs; trims; limits; licences.
    Written: attendance, visit, firing tests, adjustments, temporary changes, plant settings, items, results,
    findings, record; on closing the outbox event. A further save also reads the stored rows.
    """
    scene = set_up_scene(api_of)
    scene.put(body_of(scene, 1, 1), uuid="00000000-0000-7000-8000-00000000000f")  # fills caches
    small, large = (
        [
            queries_of(scene, body_of(scene, *size), uuid=name),
            queries_of(scene, {**body_of(scene, *size), "save_no": 2, "notes": "x"}, uuid=name),
            queries_of(scene, closed({**body_of(scene, *size), "save_no": 3}), uuid=name),
        ]
        for size, name in (
            ((1, 1), "00000000-0000-7000-8000-000000000001"),
            ((12, 60), "00000000-0000-7000-8000-000000000012"),
        )
    )
    for step, one, many in zip(("first", "further", "closing"), small, large, strict=True):
        assert shapes(one) == shapes(many), step
        assert len(many) <= 20, (step, len(many), many)


@pytest.mark.django_db(transaction=True)
def test_retry_and_reading_take_few_queries(api_of):
    scene = set_up_scene(api_of)
    body = body_of(scene, 3, 6)
    scene.put(body)
    assert len(queries_of(scene, body)) <= 6
