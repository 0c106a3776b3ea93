"""What comes next at the burner, from arrival to close."""

from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.visits.bodies import closed, firing, move, visit_body
from tests.visits.test_settling import stream
from visits.models import Visit
from visits.now import now_of, visit_now


def now(scene):
    answer = scene.api.get(f"{scene.address}now/")
    assert answer.status_code == 200
    return answer.json()


def step(told):
    return told["step"]["code"], told["step"]["point"]


def test_a_drifted_burner_is_led_from_arrival_to_close(scene):
    found = [
        firing("h", "high", "as_found", 10, co2_pct=10.2, o2_pct=None),
        firing("l", "low", "as_found", 15, co2_pct=9.9, o2_pct=None),
    ]
    left = [
        firing("h2", "high", "as_left", 26, co2_pct=9.0, o2_pct=None),
        firing("l2", "low", "as_left", 30, co2_pct=8.7, o2_pct=None),
        firing("h3", "high", "as_left", 35, co2_pct=9.0, o2_pct=None),
    ]
    unsettled = stream("h2", "high", "as_left", minute=24, seconds=40)
    changed = [{"key": "c", "what": "heating set point", "was": "70", "set_to": "85"}]
    back = [{**changed[0], "put_back_at": "2026-03-02T09:50:00Z"}]
    a_move = {"adjustments": [move("a1", 20)], "temporary_changes": changed}
    seen = []
    for number, (tests, members) in enumerate(
        [
            ([], {}),
            (found[:1], {}),
            (found, {"temporary_changes": changed}),
            ([*found, unsettled], a_move),
            ([*found, left[0]], a_move),
            ([*found, *left[:2]], a_move),
            ([*found, *left], a_move),
            ([*found, *left], {**a_move, "temporary_changes": back}),
        ],
        start=1,
    ):
        body = visit_body(scene.appliance, scene.analyser, tests=tests, save_no=number, **members)
        assert scene.put(body).status_code in (200, 201)
        seen.append(step(now(scene)))
    assert seen == [
        ("as_found", "high"),
        ("as_found", "low"),
        ("adjust", None),
        ("wait", "high"),
        ("as_left", "low"),
        ("as_left", "high"),
        ("put_back", None),
        ("close", None),
    ]
    scene.put(closed({**body, "save_no": 9}))
    assert step(now(scene)) == ("closed", None)


def test_the_newest_reading_stands_against_its_bands(scene):
    scene.put(visit_body(scene.appliance, scene.analyser))
    told = now(scene)
    reading = told["reading"]
    assert (reading["test"], reading["point"], told["settled"]) == ("found-low", "low", True)
    assert reading["acceptance_co2_pct"] == [8.2, 9.2]
    assert reading["target_co2_pct"] == [8.4, 9.0]
    assert reading["verdict"] in ("inside", "probably_inside")
    assert told["advice"][0]["code"] == "leave_it"
    assert step(told) == ("close", None)


def test_cautions_come_first_and_make_safe_is_the_only_step(scene):
    tests = [firing("found-high", "high", "as_found", 10, co_ppm=1500)]
    scene.put(visit_body(scene.appliance, scene.analyser, tests=tests))
    told = now(scene)
    assert next(iter(told)) == "cautions"
    assert told["cautions"][0]["code"] == "co_make_safe"
    assert told["step"]["code"] == "make_safe"
    assert "leave it off" in told["do"]
    assert told["advice"][0]["code"] == "make_safe_first"


def test_an_unsettled_stream_says_how_long_to_wait(scene):
    scene.put(visit_body(scene.appliance, scene.analyser, tests=[stream(seconds=45)]))
    told = now(scene)
    assert (told["step"]["code"], told["settled"], told["why_not_settled"]) == ("wait", False, "too_soon")
    assert f"{round(told['to_go_s'])} s" in told["do"]


def test_it_takes_one_query_beside_the_visit_whatever_the_size(scene):
    scene.put(visit_body(scene.appliance, scene.analyser, adjustments=[move("a1", 20)]))
    visit = scene.visit
    with CaptureQueriesContext(connection) as captured:
        told = visit_now(visit)
    assert len(captured) == 1
    assert told["revision"] == 1


def test_a_visit_that_another_engine_judged_is_told_from_its_rows(scene, monkeypatch):
    scene.put(visit_body(scene.appliance, scene.analyser))
    before = visit_now(scene.visit)
    monkeypatch.setattr("visits.now._told", lambda visit, record: None)
    assert visit_now(Visit.objects.get(pk=scene.visit.pk)) == before


def test_nothing_read_yet_is_no_error():
    blank = {"findings": [], "advice": [], "not_put_back": [], "results": {}, "revision": 1, "closed": False}
    told = now_of(blank)
    assert told["reading"] is None
    assert told["settled"] is None
    assert step(told) == ("as_found", "high")


def test_its_sentences_are_in_the_units_that_are_asked_for_and_its_numbers_in_si(scene):
    scene.appliance.model.firing_specs.update(inlet_pressure_low_mbar=17.0, inlet_pressure_high_mbar=25.0)
    tests = [
        firing("h", "high", "as_found", 10, co2_pct=10.2, o2_pct=None, inlet_pressure_mbar=12.0),
        firing("l", "low", "as_found", 15, co2_pct=9.9, o2_pct=None),
    ]
    scene.put(visit_body(scene.appliance, scene.analyser, tests=tests))
    told, other = now(scene), scene.api.get(f"{scene.address}now/", {"units": "us"}).json()
    # by hand: 12 mbar = 4.818 in WC, 17 mbar = 6.825 in WC
    assert "12.0\u00a0mbar is beyond the limit of 17.0\u00a0mbar" in told["do"]
    assert "4.82\u00a0in WC is beyond the limit of 6.82\u00a0in WC" in other["do"]
    assert [row["value"] for row in told["advice"]] == [row["value"] for row in other["advice"]] == [12.0]
    refused = scene.api.get(f"{scene.address}now/", {"units": "imperial"})
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "/units")
