"""The record is never refused for being bad news: stored whole, marked, and judged as far as it can be."""

from datetime import UTC, date, datetime, timedelta

import pytest

from combustion.fuels import FUELS
from fleet.models import AnalyserChannel, AnalyserPeriod
from people.models import Licence
from tests.factories import AnalyserFactory, LicenceFactory, TechnicianFactory, UserFactory
from tests.visits.bodies import closed, codes, finding, firing, move, visit_body
from visits.models import Adjustment, FiringTest

pytestmark = pytest.mark.django_db


def saved(scene, body):
    answer = scene.put(body)
    assert answer.status_code in (200, 201), answer.content[:500]
    return answer.json()


def high_with(scene, **values):
    """A closed visit whose as-found high fire reads these values."""
    body = visit_body(scene.appliance, scene.analyser)
    body["tests"][0] = firing("found-high", "high", "as_found", 10, **values)
    return closed(body)


IMPLAUSIBLE = {
    "o2_above_ambient": {"o2_pct": 21.5, "co2_pct": None},
    "o2_negative": {"o2_pct": -0.4, "co2_pct": None},
    "co2_negative": {"o2_pct": None, "co2_pct": -2.0},
    "co2_above_max": {"o2_pct": None, "co2_pct": 13.5},
    "inconsistent_o2_co2": {"o2_pct": 12.0, "co2_pct": 11.0},
    "co_out_of_range": {"co_ppm": 900_000},
    "flue_temp_out_of_range": {"flue_temp_c": 40_000.0},
    "air_temp_out_of_range": {"air_temp_c": -300.0},
}


@pytest.mark.parametrize("code", IMPLAUSIBLE)
def test_what_cannot_be_is_stored_whole_with_a_finding_and_kept_out_of_drift(scene, code):
    values = IMPLAUSIBLE[code]
    answer = saved(scene, high_with(scene, **values))
    row = finding(answer, code, "test:found-high")
    assert row["sentence"]
    assert row["what_to_do"]
    stored = FiringTest.objects.get(key="found-high")
    for name, value in values.items():
        assert getattr(stored, name) == value
    reading = scene.get()["tests"][0]["readings"][0]
    assert {name: reading.get(name) for name in values} == values
    assert stored.kept_out
    assert not FiringTest.objects.for_drift().filter(key="found-high").exists()
    # The other point is judged as if nothing had happened.
    assert FiringTest.objects.for_drift().filter(key="found-low").exists()
    assert answer["results"]["found-low"]["air_ratio"]["value"] > 1


def test_impossible_value_and_its_limit_are_both_said(scene):
    answer = saved(scene, high_with(scene, o2_pct=21.5, co2_pct=None))
    row = finding(answer, "o2_above_ambient")
    # Dry air holds 20.9 to 20.95 % O2 (ISO 6976:2016 and 40 CFR 60 method 3B take 20.95 and 20.9).
    assert row["value"] == 21.5
    assert row["limit"] == pytest.approx(20.95, abs=0.06)
    assert "21.5" in row["sentence"]


def test_co2_above_the_maximum_of_the_fuel_names_that_maximum(scene):
    answer = saved(scene, high_with(scene, o2_pct=None, co2_pct=13.5))
    row = finding(answer, "co2_above_max")
    # Natural gas 11.7 to 12.0 %: trade tables (READ), EPA Fc/Fd 11.94 (READ).
    assert 11.7 <= row["limit"] <= 12.0
    assert row["limit"] == pytest.approx(FUELS["natural_gas"].co2_max_pct)


def test_propane_may_give_what_natural_gas_may_not(scene):
    """CO2max of propane 13.7 to 13.8 % (trade tables, READ)."""
    scene.appliance.fuel = "propane"
    scene.appliance.save()
    answer = saved(scene, high_with(scene, o2_pct=None, co2_pct=13.0))
    assert "co2_above_max" not in codes(answer)


def test_impossible_flue_temperature_leaves_the_air_ratio_judged(scene):
    answer = saved(scene, high_with(scene, flue_temp_c=40_000.0))
    results = answer["results"]["found-high"]
    assert results["air_ratio"]["value"] == pytest.approx(1.29, abs=0.03)
    assert results["efficiency_gross_pct"]["value"] is None
    assert results["efficiency_gross_pct"]["why"]


def test_huge_co_is_made_safe_first_whatever_else_is_wrong(scene):
    answer = saved(scene, high_with(scene, co_ppm=900_000, o2_pct=21.5, co2_pct=None))
    assert answer["findings"][0]["severity"] == "make_safe"
    assert {"co_out_of_range", "o2_above_ambient"} <= codes(answer)


def test_times_out_of_order_are_kept_as_they_came(scene):
    body = visit_body(scene.appliance, scene.analyser)
    body["tests"][1] = firing("found-low", "low", "as_found", 15, co2_pct=8.8, o2_pct=5.21)
    body["tests"][1]["readings"][0]["at"] = "2026-03-02T09:05:00+00:00"
    answer = saved(scene, closed(body))
    assert "times_out_of_order" in codes(answer)
    stored = FiringTest.objects.get(key="found-low")
    assert stored.observed_at == datetime(2026, 3, 2, 9, 5, tzinfo=UTC)


def test_closing_before_opening_is_stored_and_said(scene):
    answer = saved(
        scene, closed(visit_body(scene.appliance, scene.analyser), closed_at="2026-03-02T08:00:00Z")
    )
    assert "times_out_of_order" in codes(answer)
    assert scene.visit.closed_at < scene.visit.opened_at


def test_another_fuel_is_judged_as_that_fuel_and_kept_out_of_drift(scene):
    answer = saved(scene, {**high_with(scene, co2_pct=11.261, o2_pct=3.754), "fuel": "propane"})
    assert "other_fuel" in codes(answer)
    # Propane at an air ratio of 1.2: CO2 11.261, O2 3.754 (COMPUTED, mole balance, tests/published).
    assert answer["results"]["found-high"]["air_ratio"]["value"] == pytest.approx(1.2, abs=0.01)
    assert not FiringTest.objects.for_drift().exists()
    assert scene.visit.fuel == "propane"


def test_device_clock_hours_ahead_is_kept_and_shown(scene):
    ahead = datetime.now(UTC) + timedelta(hours=7)
    body = visit_body(scene.appliance, scene.analyser, opened_at=ahead.isoformat())
    body["tests"][0]["readings"][0]["at"] = ahead.isoformat()
    answer = saved(scene, body)
    row = finding(answer, "clock_apart")
    assert row["value"] == pytest.approx(420, abs=2)
    assert scene.visit.opened_at == ahead
    assert scene.visit.received_at < ahead


def test_visit_that_waited_days_for_a_signal_is_no_clock_fault(scene):
    assert "clock_apart" not in codes(saved(scene, visit_body(scene.appliance, scene.analyser)))


def test_reading_with_nothing_in_it_is_stored_and_said(scene):
    body = visit_body(scene.appliance, scene.analyser)
    body["tests"][0]["readings"] = []
    answer = saved(scene, closed(body))
    assert finding(answer, "no_reading", "test:found-high")
    assert answer["results"]["found-low"]["air_ratio"]["value"] > 1


def test_visit_without_any_test_is_a_record_too(scene):
    body = {**visit_body(scene.appliance), "tests": [], "closed_at": "2026-03-02T09:05:00Z"}
    answer = saved(scene, {**body, "outcome": "no_access"})
    assert answer["closed"] is True
    assert answer["health"]["as_found"]["probability"] is None


# Licences


def licence(scene, **members):
    Licence.objects.filter(technician__user=scene.technician).delete()
    if members:
        Licence.objects.create(
            technician=scene.technician.technician,
            scheme="Aldermere gas register",
            number="AGR 9000",
            **{"starts_on": date(2020, 1, 1), "work": "commissioning", **members},
        )


GAPS = {
    "none on file": ({}, "licence_unknown"),
    "lapsed": ({"ends_on": date(2026, 3, 1)}, "licence_lapsed"),
    "not begun": ({"starts_on": date(2026, 3, 3)}, "licence_lapsed"),
    "other gas": ({"fuels": "lpg"}, "licence_scope"),
    "input too small": ({"max_input_gross_kw": 99.0}, "licence_scope"),
}


@pytest.mark.parametrize("gap", GAPS)
def test_licence_gap_is_a_finding_and_nothing_more_and_waits_for_a_signature(scene, gap):
    members, code = GAPS[gap]
    licence(scene, **members)
    answer = saved(scene, closed(visit_body(scene.appliance, scene.analyser)))
    assert code in codes(answer)
    assert answer["closed"] is True
    assert answer["uncountersigned"] is True
    assert scene.visit.uncountersigned is True
    # The readings count as any others.
    assert FiringTest.objects.for_drift().count() == 2
    assert answer["results"]["found-high"]["air_ratio"]["value"] > 1


def test_service_licence_does_not_cover_commissioning(scene):
    licence(scene, work="service")
    body = closed(visit_body(scene.appliance, scene.analyser, kind="commissioning"))
    answer = saved(scene, body)
    assert "licence_scope" in codes(answer)
    assert answer["uncountersigned"] is True


@pytest.mark.parametrize(
    "members",
    [
        {"ends_on": date(2026, 3, 2)},
        {"starts_on": date(2026, 3, 2)},
        {"fuels": "natural_gas", "max_input_gross_kw": 100.0, "work": "service"},
    ],
    ids=["last day", "first day", "just wide enough"],
)
def test_licence_that_just_covers_the_work_leaves_nothing_to_sign(scene, members):
    licence(scene, **members)
    answer = saved(scene, closed(visit_body(scene.appliance, scene.analyser)))
    assert not {code for code in codes(answer) if code.startswith("licence")}
    assert answer["uncountersigned"] is False


def test_two_licences_are_taken_together_each_for_its_own_work(scene):
    licence(scene, fuels="lpg")
    LicenceFactory(technician=scene.technician.technician, fuels="natural_gas", work="service")
    answer = saved(scene, closed(visit_body(scene.appliance, scene.analyser)))
    assert answer["uncountersigned"] is False


def countersign(scene, api):
    return api.post(f"{scene.address}countersignature/")


def test_licensed_person_countersigns_and_the_visit_no_longer_waits(scene, colleague, api_of):
    licence(scene)
    saved(scene, closed(visit_body(scene.appliance, scene.analyser)))
    answer = countersign(scene, api_of(colleague))
    assert answer.status_code == 200, answer.content
    assert answer.json()["uncountersigned"] is False
    visit = scene.visit
    assert visit.countersigned_by == colleague
    assert visit.countersigned_at is not None
    # The readings and the finding of that day stay on record.
    assert FiringTest.objects.filter(visit=visit).count() == 2


def test_countersigning_is_refused_to_whoever_the_work_is_not_licensed_to(scene, api_of):
    licence(scene)
    saved(scene, closed(visit_body(scene.appliance, scene.analyser)))
    for user in (
        scene.technician,
        TechnicianFactory().user,
        LicenceFactory(fuels="lpg").technician.user,
        UserFactory(role="office"),
    ):
        answer = countersign(scene, api_of(user))
        assert answer.status_code == 403, (user, answer.content)
        assert answer["Content-Type"] == "application/problem+json"
    assert scene.visit.uncountersigned is True
    assert scene.visit.countersigned_by is None


def test_visit_that_is_open_or_waits_for_nobody_cannot_be_countersigned(scene, colleague, api_of):
    saved(scene, visit_body(scene.appliance, scene.analyser))
    other = api_of(colleague)
    assert countersign(scene, other).status_code == 409
    saved(scene, closed(visit_body(scene.appliance, scene.analyser, save_no=2)))
    assert countersign(scene, other).status_code == 409
    assert scene.visit.countersigned_by is None


# Analysers


def test_lapsed_calibration_is_said_and_the_readings_count(scene):
    AnalyserPeriod.objects.update(calibration_due_on=date(2026, 3, 1))
    answer = saved(scene, closed(visit_body(scene.appliance, scene.analyser)))
    assert "calibration_lapsed" in codes(answer)
    assert "01" in finding(answer, "calibration_lapsed")["sentence"]
    assert FiringTest.objects.for_drift().count() == 2
    assert scene.visit.analyser_period is not None


def test_calibration_good_until_today_is_good_today(scene):
    AnalyserPeriod.objects.update(calibration_due_on=date(2026, 3, 2))
    answer = saved(scene, closed(visit_body(scene.appliance, scene.analyser)))
    assert not {code for code in codes(answer) if code.startswith("calibration")}


def test_unknown_calibration_is_said(scene):
    AnalyserPeriod.objects.update(starts_on=None, calibration_due_on=None)
    assert "calibration_unknown" in codes(saved(scene, closed(visit_body(scene.appliance, scene.analyser))))


def test_analyser_without_any_period_is_taken_with_its_calibration_unknown(scene):
    analyser = AnalyserFactory()
    answer = saved(scene, closed(visit_body(scene.appliance, analyser)))
    assert "calibration_unknown" in codes(answer)
    assert scene.visit.analyser == analyser


@pytest.mark.parametrize("members", [{"analyser": "P4-99"}, {"analyser_text": "borrowed from the depot"}])
def test_analyser_not_on_file_is_kept_as_written(scene, members):
    answer = saved(scene, closed({**visit_body(scene.appliance), **members}))
    row = finding(answer, "analyser_unknown")
    (text,) = members.values()
    assert text in row["sentence"]
    assert scene.visit.analyser_text == text
    assert scene.visit.analyser is None
    assert answer["results"]["found-high"]["air_ratio"]["u"] > 0


def test_no_analyser_at_all_is_said(scene):
    assert "analyser_missing" in codes(saved(scene, closed(visit_body(scene.appliance))))


def test_sensor_over_range_is_answered_with_make_safe(scene):
    AnalyserChannel.objects.create(
        analyser=scene.analyser, quantity="co_ppm", source="measured", range_high=100.0
    )
    answer = saved(scene, high_with(scene, co_ppm=100.0))
    assert answer["findings"][0]["code"] == "co_over_range"
    assert answer["findings"][0]["severity"] == "make_safe"


# Adjustments and temporary changes


def test_trim_the_model_does_not_have_is_stored_and_said(scene):
    body = visit_body(scene.appliance, scene.analyser, adjustments=[move("a1", 20, trim="bleed screw")])
    answer = saved(scene, body)
    assert "bleed screw" in finding(answer, "trim_not_on_model")["sentence"]
    assert Adjustment.objects.get().trim == "bleed screw"


def test_move_without_a_direction_is_stored_and_said(scene):
    adjustment = move("a1", 20)
    del adjustment["direction"]
    answer = saved(scene, visit_body(scene.appliance, scene.analyser, adjustments=[adjustment]))
    assert "direction_missing" in codes(answer)
    assert Adjustment.objects.get().direction == ""


def test_direction_nobody_knows_is_kept_as_written(scene):
    body = visit_body(scene.appliance, scene.analyser, adjustments=[move("a1", 20, direction="leftish")])
    saved(scene, body)
    assert Adjustment.objects.get().direction == "leftish"


def test_moved_trim_without_a_test_as_left_is_said_on_closing(scene):
    body = visit_body(scene.appliance, scene.analyser, adjustments=[move("a1", 20)])
    assert "as_left_missing" in codes(saved(scene, closed(body)))


def test_trim_moved_after_the_test_as_left_is_said(scene):
    body = visit_body(scene.appliance, scene.analyser, adjustments=[move("a1", 40)])
    body["tests"] += [firing("left-high", "high", "as_left", 30), firing("left-low", "low", "as_left", 35)]
    answer = saved(scene, closed(body))
    assert "moved_after_as_left" in codes(answer)
    assert not FiringTest.objects.for_drift().filter(phase="as_left").exists()


def test_test_as_found_read_after_a_move_is_said(scene):
    body = visit_body(scene.appliance, scene.analyser, adjustments=[move("a1", 12)])
    answer = saved(scene, body)
    assert finding(answer, "read_after_move")["subject"] == "test:found-low"


CHANGE = {
    "key": "c1",
    "what": "lag boiler",
    "was": "off",
    "set_to": "on",
    "changed_at": "2026-03-02T09:02:00Z",
}


@pytest.mark.parametrize("reason", [None, "left on for the caretaker"])
def test_setting_not_put_back_is_named_with_its_reason(scene, reason):
    change = {**CHANGE, **({"reason": reason} if reason else {})}
    answer = saved(scene, closed(visit_body(scene.appliance, scene.analyser, temporary_changes=[change])))
    row = finding(answer, "not_put_back", "change:c1")
    assert "lag boiler" in row["sentence"]
    if reason:
        assert reason in row["sentence"]
    (open_change,) = answer["not_put_back"]
    assert open_change["what"] == "lag boiler"
    assert open_change["key"] == "c1"


def test_setting_put_back_is_named_no_more(scene):
    body = visit_body(scene.appliance, scene.analyser, temporary_changes=[CHANGE])
    assert saved(scene, body)["not_put_back"]
    back = {**CHANGE, "put_back_at": "2026-03-02T10:00:00Z"}
    answer = saved(
        scene, closed(visit_body(scene.appliance, scene.analyser, save_no=2), temporary_changes=[back])
    )
    assert answer["not_put_back"] == []
    assert "not_put_back" not in codes(answer)


def test_everything_wrong_at_once_is_still_one_whole_record(scene):
    licence(scene)
    body = visit_body(
        scene.appliance,
        fuel="propane",
        adjustments=[move("a1", 12, trim="bleed screw", direction="")],
        temporary_changes=[CHANGE],
    )
    body["analyser"] = "P4-99"
    body["tests"] = [
        firing("t1", "high", "as_found", 10, o2_pct=30.0, co2_pct=40.0, co_ppm=999_999, flue_temp_c=-999.0),
        firing("t2", "low", "as_left", 5, o2_pct=-1.0, co2_pct=-1.0, co_ppm=-5, air_temp_c=9999.0),
        {"key": "t3", "point": "percent", "phase": "working"},
    ]
    answer = saved(scene, closed(body, closed_at="2026-03-02T08:00:00Z", outcome="left_off"))
    assert {"other_fuel", "analyser_unknown", "licence_unknown", "times_out_of_order", "left_off"} <= codes(
        answer
    )
    assert FiringTest.objects.count() == 3
    assert not FiringTest.objects.for_drift().filter(key__in=["t1", "t2"]).exists()
    assert scene.get()["tests"][0]["readings"][0]["o2_pct"] == 30.0
    severities = [row["severity"] for row in answer["findings"]]
    order = ["make_safe", "act", "advise", "note"]
    assert severities == sorted(severities, key=order.index)
