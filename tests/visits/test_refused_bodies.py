"""What cannot be parsed is refused, whole, with field, value and limit. Nothing else is refused."""

import gzip
import json
import uuid

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.factories import ApplianceFactory
from tests.visits.bodies import firing, visit_body
from tests.visits.conftest import all_rows
from visits.measured import MEASURED_FIELDS

pytestmark = pytest.mark.django_db

TIMES = "2026-03-02T09:20:00+00:00"


def whole_body(scene):
    """A body in which every member that is known has a value."""
    return visit_body(
        scene.appliance,
        scene.analyser,
        fuel="natural_gas",
        analyser_text="",
        closed_at="2026-03-02T10:30:00+00:00",
        outcome="completed",
        notes="",
        tests=[
            {
                "key": "t",
                "burner": 1,
                "point": "percent",
                "percent": 50.0,
                "phase": "working",
                "sequence": 1,
                "settled_stated": True,
                "moved_before": False,
                "fuel": "natural_gas",
                "co2_source": "measured",
                "readings": [{"at": TIMES, **{name: 1.0 for name in MEASURED_FIELDS}}],
            }
        ],
        adjustments=[
            {
                "key": "a",
                "burner": 1,
                "trim": "throttle",
                "at": TIMES,
                "direction": "clockwise",
                "turns": 0.25,
                "marks": 1.0,
                "before_test": "t",
                "after_test": "t",
            }
        ],
        temporary_changes=[
            {
                "key": "c",
                "what": "set point",
                "was": "60",
                "set_to": "80",
                "changed_at": TIMES,
                "put_back_at": TIMES,
                "reason": "",
            }
        ],
        items=[
            {
                "key": "i",
                "code": "seal",
                "state": "done",
                "number": 1.0,
                "unit": "mm",
                "choice": "",
                "reason": "",
                "at": TIMES,
            }
        ],
        parts=[{"key": "p", "burner": 1, "part": "igniter", "fitted_at": TIMES}],
    )


def places(value, path=()):
    """Every place in a JSON value, the root last."""
    if isinstance(value, dict):
        for name, item in value.items():
            yield from places(item, (*path, name))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from places(item, (*path, index))
    if path:
        yield path


def with_value(body, path, value):
    copy = json.loads(json.dumps(body))
    target = copy
    for step in path[:-1]:
        target = target[step]
    target[path[-1]] = value
    return copy


def pointer_of(path):
    return "".join(f"/{step}" for step in path)


def assert_refused(answer, *, status=400, code="invalid"):
    assert answer.status_code == status, answer.content[:500]
    assert answer["Content-Type"] == "application/problem+json"
    problem = answer.json()
    assert problem["status"] == status
    assert problem["code"] == code
    assert problem["type"]
    assert problem["detail"]
    return problem


def test_the_whole_body_itself_is_taken(scene):
    answer = scene.put(whole_body(scene))
    assert answer.status_code == 201, answer.content
    assert answer.json()["ignored"] == []


WRONG = ["true", "-1e300", '"x"', "[[]]", "{}", "1.5", "9223372036854775808"]


def test_every_member_of_a_wrong_type_is_refused_by_its_name_or_kept_whole_but_never_breaks(scene):
    """Each known member in turn holds each kind of JSON value.

    Whatever is refused is refused with the member's pointer and writes nothing.
    """
    body = whole_body(scene)
    before, refused, taken, number = all_rows(), set(), set(), 0
    for path in places(body):
        for text in WRONG:
            number += 1
            raw = json.dumps(with_value(body, path, "@@")).replace('"@@"', text)
            answer = scene.put(raw, uuid=f"00000000-0000-7000-8000-{number:012}")
            assert answer.status_code in (201, 400), (path, text, answer.content[:300])
            if answer.status_code == 201:
                taken.add((path, text))
                continue
            problem = assert_refused(answer, code=answer.json()["code"])
            fields = [row["field"] for row in problem["errors"]]
            assert any(
                field == pointer_of(path) or field.startswith(pointer_of(path) + "/") for field in fields
            ), (path, text, fields)
            for row in problem["errors"]:
                assert set(row) >= {"field", "value", "limit", "code", "detail"}
                assert row["detail"]
                assert row["limit"] is not None, (path, text, row)
            refused.add((path, text))
    numeric = {p for p, _ in taken | refused if p[-1] in (*MEASURED_FIELDS, "turns", "marks", "number")}
    assert len(numeric) == len(MEASURED_FIELDS) + 3
    for path in numeric:
        for text in ("true", "-1e300", '"x"', "[[]]", "{}"):
            assert (path, text) in refused
        assert (path, "1.5") in taken
    for path in {p for p, _ in taken if p[-1] in ("at", "opened_at", "changed_at", "put_back_at")}:
        raise AssertionError(f"a time of another type was taken at {path}")
    # Every visit that was taken is whole; nothing is left of the refused ones.
    assert all_rows()["visits.Visit"] - before["visits.Visit"] == len(taken)
    assert all_rows()["visits.VisitRecord"] - before["visits.VisitRecord"] == len(taken)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999", "-1e999", "1e6", "-1000000.0"])
@pytest.mark.parametrize("name", ["co2_pct", "flue_temp_c", "ambient_co_ppm"])
def test_reading_that_is_not_finite_or_too_large_is_refused_by_name(scene, name, number):
    before = all_rows()
    raw = json.dumps(with_value(whole_body(scene), ("tests", 0, "readings", 0, name), "@@"))
    problem = assert_refused(scene.put(raw.replace('"@@"', number)))
    (row,) = problem["errors"]
    assert row["field"] == f"/tests/0/readings/0/{name}"
    assert row["limit"] is not None
    assert all_rows() == before


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("opened_at",), "2026-03-02T09:00:00"),
        (("closed_at",), "2026-03-02 09:00"),
        (("tests", 0, "readings", 0, "at"), "2026-03-02T09:20:00"),
        (("adjustments", 0, "at"), "2026-03-02T09:20:00"),
        (("temporary_changes", 0, "put_back_at"), "2026-03-02"),
        (("opened_at",), "yesterday"),
        (("opened_at",), "2026-02-30T09:00:00Z"),
        (("opened_at",), 1772442000),
        (("opened_at",), "1772442000"),
    ],
)
def test_time_without_a_zone_or_sense_is_refused(scene, path, value):
    before = all_rows()
    problem = assert_refused(scene.put(with_value(whole_body(scene), path, value)))
    (row,) = problem["errors"]
    assert row["field"] == pointer_of(path)
    assert row["value"] == value
    assert "zone" in row["limit"]
    assert all_rows() == before


@pytest.mark.parametrize(
    "moment", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "0001-01-01T00:00:00Z"]
)
@pytest.mark.parametrize("path", [("opened_at",), ("closed_at",), ("tests", 0, "readings", 0, "at")])
def test_time_at_the_ends_of_the_calendar_never_breaks(scene, path, moment):
    before = all_rows()
    answer = scene.put(with_value(whole_body(scene), path, moment))
    assert answer.status_code in (201, 400), answer.content[:300]
    if answer.status_code == 400:
        assert assert_refused(answer)["errors"][0]["field"] == pointer_of(path)
        assert all_rows() == before


@pytest.mark.parametrize(
    "unknown", ["0190b6a0-0000-7000-8000-00000000dead", "no such tag", "B", " ", "é", "🔥"]
)
def test_unknown_appliance_is_refused_by_name(scene, unknown):
    before = all_rows()
    problem = assert_refused(
        scene.put({**whole_body(scene), "appliance": unknown}),
        code=scene.put({**whole_body(scene), "appliance": unknown}).json()["code"],
    )
    (row,) = problem["errors"]
    assert row["field"] == "/appliance"
    assert row["value"] == unknown
    assert row["limit"]
    assert all_rows() == before


def test_tag_that_two_appliances_share_is_refused_not_guessed(scene):
    ApplianceFactory(tag=scene.appliance.tag)
    before = all_rows()
    answer = scene.put({**whole_body(scene), "appliance": scene.appliance.tag})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "/appliance"
    assert all_rows() == before


@pytest.mark.parametrize("burner", [2, "0190b6a0-0000-7000-8000-00000000dead"])
def test_burner_the_appliance_does_not_have_is_refused_by_name(scene, burner):
    before = all_rows()
    answer = scene.put(with_value(whole_body(scene), ("tests", 0, "burner"), burner))
    assert answer.status_code == 400
    (row,) = answer.json()["errors"]
    assert row["field"] == "/tests/0/burner"
    assert str(row["value"]) == str(burner)
    assert all_rows() == before


def test_attendance_nobody_knows_is_taken_as_a_new_one_or_refused_by_name(scene):
    """The client makes an attendance's UUID, so an unknown one opens that attendance."""
    new = "0190b6a0-0000-7000-8000-0000000000aa"
    answer = scene.put({**whole_body(scene), "attendance": new})
    assert answer.status_code == 201
    assert str(scene.visit.attendance.uuid) == new


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"{",
        b'{"save_no": 1,}',
        b"{'save_no': 1}",
        b"\xff\xfe",
        b'{"notes": "\xff"}',
        b"\x00",
        b"[" * 100_000,
        b'{"a":' * 100_000,
        b"nul",
        b'{"save_no": 1} trailing',
        b'{"notes": "\t"}',
    ],
    ids=lambda raw: repr(raw[:20]),
)
def test_broken_json_is_refused(scene, raw):
    before = all_rows()
    assert_refused(scene.put(raw), code="not_json")
    assert all_rows() == before


@pytest.mark.parametrize("raw", ["[]", "null", "1", '"text"', "true", "{}", "[{}]"])
def test_json_that_is_no_visit_is_refused(scene, raw):
    before = all_rows()
    problem = assert_refused(scene.put(raw))
    assert problem["errors"]
    assert all_rows() == before


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"]
)
def test_another_media_type_is_415(scene, kind):
    before = all_rows()
    answer = scene.api.put(scene.address, json.dumps(whole_body(scene)), content_type=kind)
    assert_refused(answer, status=415, code="media_type")
    assert all_rows() == before


def test_a_body_in_a_coding_is_415_and_not_called_broken(scene):
    packed = gzip.compress(json.dumps(whole_body(scene)).encode())
    answer = scene.api.put(
        scene.address, packed, content_type="application/json", headers={"Content-Encoding": "gzip"}
    )
    assert_refused(answer, status=415, code="media_type")


def test_media_type_may_carry_parameters_and_any_case(scene):
    raw = json.dumps(whole_body(scene))
    answer = scene.api.put(scene.address, raw, content_type="Application/JSON; charset=utf-8")
    assert answer.status_code == 201


def test_body_over_the_servers_limit_is_413(scene, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 2000
    before = all_rows()
    body = {**whole_body(scene), "notes": "x" * 2000}
    assert_refused(scene.put(body), status=413, code="too_large")
    assert all_rows() == before


EXTRAS = {
    "nan": ("NaN", 400),
    "infinity": ("1e999", 400),
    "deep": ("[" * 5000 + "]" * 5000, 400),
    "too deep to be read again": ("[" * 190 + "]" * 190, 400),
    "deep objects": ('{"a":' * 65 + "1" + "}" * 65, 400),
    "deep but fair": ("[" * 64 + "]" * 64, 201),
    "2^63": ("9223372036854775808", 201),
    "5000 digits": ("9" * 5000, 400),
    "lone surrogate": ('"\\ud800"', 400),
    "NUL": ('"\\u0000"', None),
    "surrogate in a name": ('{"\\udfff": 1}', 400),
    "emoji": ('"\\ud83d\\udd25"', 201),
}


@pytest.mark.parametrize("place", ["body", "test", "reading"])
@pytest.mark.parametrize("name", EXTRAS)
def test_odd_value_of_an_unknown_member_is_kept_whole_or_refused_but_never_breaks(scene, name, place):
    text, status = EXTRAS[name]
    body = whole_body(scene)
    target = {"body": body, "test": body["tests"][0], "reading": body["tests"][0]["readings"][0]}[place]
    target["torque_nm"] = "@@"
    before = all_rows()
    answer = scene.put(json.dumps(body).replace('"@@"', text))
    assert answer.status_code in ([status] if status else [201, 400]), answer.content[:300]
    if answer.status_code == 400:
        assert_refused(answer, code=answer.json()["code"])
        assert all_rows() == before
    else:
        again = scene.put(json.dumps(body).replace('"@@"', text))
        assert again.content == answer.content
        assert scene.api.get(scene.address).status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        ("appliance",),
        ("analyser",),
        ("notes",),
        ("tests", 0, "key"),
        ("adjustments", 0, "trim"),
        ("adjustments", 0, "direction"),
        ("temporary_changes", 0, "what"),
        ("items", 0, "code"),
        ("parts", 0, "part"),
    ],
)
@pytest.mark.parametrize("text", ['"a\\u0000b"', '"\\ud800"', '"' + "x" * 30_000 + '"'])
def test_text_no_database_can_hold_is_refused_by_name(scene, path, text):
    before = all_rows()
    raw = json.dumps(with_value(whole_body(scene), path, "@@")).replace('"@@"', text)
    answer = scene.put(raw)
    assert answer.status_code == 400, answer.content[:300]
    if answer.json()["code"] != "not_json":
        assert pointer_of(path) in [row["field"] for row in answer.json()["errors"]]
    assert all_rows() == before


@pytest.mark.parametrize(
    "number", ["0", "-1", "1.5", "9223372036854775807", "9223372036854775808", "1e3", "9" * 5000]
)
def test_save_number_is_a_whole_number_from_one(scene, number):
    before = all_rows()
    raw = json.dumps({**whole_body(scene), "save_no": "@@"}).replace('"@@"', number)
    answer = scene.put(raw)
    assert answer.status_code == 400, answer.content[:300]
    assert all_rows() == before


def test_several_faults_are_named_at_once(scene):
    body = with_value(whole_body(scene), ("opened_at",), "2026-03-02T09:00:00")
    body = with_value(body, ("tests", 0, "readings", 0, "co_ppm"), "high")
    body = with_value(body, ("kind",), "spring_clean")
    fields = {row["field"] for row in assert_refused(scene.put(body))["errors"]}
    assert fields == {"/opened_at", "/tests/0/readings/0/co_ppm", "/kind"}


@pytest.mark.parametrize("missing", ["save_no", "appliance", "kind", "opened_at"])
def test_missing_member_is_named(scene, missing):
    body = whole_body(scene)
    del body[missing]
    (row,) = assert_refused(scene.put(body))["errors"]
    assert (row["field"], row["code"]) == (f"/{missing}", "required")


@pytest.mark.parametrize("missing", ["key", "point", "phase"])
def test_missing_member_of_a_row_is_named_by_its_place(scene, missing):
    body = whole_body(scene)
    del body["tests"][0][missing]
    (row,) = assert_refused(scene.put(body))["errors"]
    assert row["field"] == f"/tests/0/{missing}"


def test_two_rows_of_one_key_are_refused(scene):
    body = whole_body(scene)
    body["tests"].append(dict(body["tests"][0]))
    (row,) = assert_refused(scene.put(body))["errors"]
    assert row["field"] == "/tests/1/key"
    assert row["value"] == "t"


def test_half_closed_visit_is_refused(scene):
    for missing in ("closed_at", "outcome"):
        body = whole_body(scene)
        del body[missing]
        (row,) = assert_refused(scene.put(body))["errors"]
        assert row["field"] == f"/{missing}"


def test_refused_save_of_a_stored_visit_leaves_it_as_it_was(scene):
    scene.put(visit_body(scene.appliance, scene.analyser))
    before, state = all_rows(), scene.get()
    for raw in ("{", "[]", json.dumps({**whole_body(scene), "save_no": 2, "kind": 5})):
        assert scene.put(raw).status_code == 400
    assert all_rows() == before
    assert scene.get() == state


def test_unknown_members_are_kept_and_named(scene):
    body = whole_body(scene)
    body["weather"] = {"sky": ["grey", 1, None]}
    body["tests"][0]["probe/depth~mm"] = 120
    body["tests"][0]["readings"][0]["o2_wet_pct"] = 4.1
    answer = scene.put(body).json()
    assert answer["ignored"] == sorted(
        ["/weather", "/tests/0/probe~1depth~0mm", "/tests/0/readings/0/o2_wet_pct"]
    )
    stored = scene.get()
    assert stored["weather"]["sky"][0] == "grey"
    assert stored["tests"][0]["probe/depth~mm"] == 120
    assert stored["tests"][0]["readings"][0]["o2_wet_pct"] == 4.1


def test_client_that_sends_an_answer_back_as_its_next_save_changes_nothing_of_ours(scene):
    """Reading, changing and sending back is what many clients do: our own members are not theirs to write."""
    first = scene.put(visit_body(scene.appliance, scene.analyser)).json()
    echoed = {**first, "save_no": 2, "revision": 77, "findings": [], "uuid": "x", "closed": True, "health": 3}
    second = scene.put(echoed)
    assert second.status_code == 200, second.content
    answer = second.json()
    assert answer["revision"] != 77
    assert answer["uuid"] == scene.uuid
    assert answer["closed"] is False
    assert answer["health"] == first["health"]
    assert answer["results"] == first["results"]
    assert answer["findings"] == first["findings"]
    assert scene.get()["findings"] == first["findings"]


JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(min_value=-(2**70), max_value=2**70)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@settings(
    max_examples=80,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_no_json_value_in_any_place_breaks_the_save(scene, data):
    body = whole_body(scene)
    path = data.draw(st.sampled_from(sorted(places(body), key=str)))
    value = data.draw(JSON_VALUES)
    before = all_rows()
    answer = scene.put(with_value(body, path, value), uuid=str(uuid.uuid4()))
    assert answer.status_code in (200, 201, 400, 409), (path, value, answer.content[:300])
    if answer.status_code in (400, 409):
        assert all_rows() == before
        assert answer["Content-Type"] == "application/problem+json"


NUMBERS = (
    st.floats(-999_999, 999_999, allow_nan=False)
    | st.floats(20.9, 21.0)
    | st.floats(0, 1e-9)
    | st.sampled_from([0.0, -0.0, 5e-324, 20.95, 20.9, 999_999.0, -999_999.0, 20.949999999])
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(values=st.dictionaries(st.sampled_from(MEASURED_FIELDS), NUMBERS))
def test_no_finite_reading_is_ever_refused_or_breaks_the_judging(scene, values):
    body = visit_body(scene.appliance, scene.analyser)
    body["tests"][0] = firing("t", "high", "as_found", 10, **values)
    name = str(uuid.uuid4())
    answer = scene.put(body, uuid=name)
    assert answer.status_code == 201, (values, answer.content[:300])
    reading = scene.api.get(f"/api/v1/visits/{name}/").json()["tests"][0]["readings"][0]
    assert {n: reading[n] for n in values} == values


@pytest.mark.parametrize("o2_pct", [20.9, 20.94, 20.949, 20.9499999])
@pytest.mark.parametrize("co_ppm", [0, 5000, 99_999, 999_999])
def test_reading_close_to_plain_air_is_stored_and_answered(scene, o2_pct, co_ppm):
    """A probe in fresh air reads this every day; air ratio and air-free CO grow without bound towards it."""
    body = visit_body(scene.appliance, scene.analyser)
    body["tests"][0] = firing("t", "high", "as_found", 10, o2_pct=o2_pct, co2_pct=None, co_ppm=co_ppm)
    assert scene.put(body).status_code == 201


@pytest.mark.parametrize("years", [3, 60])
def test_device_clock_years_ahead_is_bad_news_not_a_refusal(scene, years):
    body = visit_body(scene.appliance, scene.analyser, opened_at=f"{2026 + years}-03-02T09:00:00Z")
    answer = scene.put(body)
    assert answer.status_code == 201
    (row,) = [row for row in answer.json()["findings"] if row["code"] == "clock_apart"]
    assert row["unit"] == "days"
    assert row["value"] > 365


def test_device_clock_at_the_start_of_its_epoch_is_kept(scene):
    body = visit_body(scene.appliance, scene.analyser, opened_at="1970-01-01T00:00:00Z")
    assert scene.put(body).status_code == 201
