"""The second pass: what a good file becomes, on whichever database the tests run."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from common.models import AuditLine, OutboxEvent
from fleet.models import (
    Analyser,
    AnalyserPeriod,
    Appliance,
    ApplianceModel,
    Burner,
    Customer,
    GasArea,
    Maker,
    PartFitted,
    Plant,
    Site,
)
from people.models import Role, Technician, User
from tests import factories
from tests.history.conftest import Importer
from tests.history.files import row, visit_of
from visits.history.cells import visit_uuid
from visits.judging.case import Case
from visits.judging.engine import judge_plainly
from visits.models import Adjustment, Attendance, Finding, FiringTest, TestResult, Visit

pytestmark = pytest.mark.django_db


def test_a_visit_becomes_the_whole_record(bring_in: Importer) -> None:
    outcome = bring_in(visit_of("job 1", timezone="Europe/Oslo", elevation_m="120"))
    assert (outcome.rows, outcome.visits, outcome.visits_stored, outcome.notes) == (4, 1, 1, [])
    visit = Visit.objects.get()
    appliance = visit.appliance
    site = appliance.plant.site
    assert (site.customer.name, site.name, appliance.plant.name, appliance.tag) == (
        "Aldermere Baths", "Mill Lane", "Boiler room", "B1"
    )  # fmt: skip
    assert (site.time_zone, site.elevation_m, site.gas_area.name) == ("Europe/Oslo", 120, "Aldermere north")
    assert (appliance.serial, appliance.fuel, str(appliance.model)) == (
        "CX-0001", "natural_gas", "Corvane CX100"
    )  # fmt: skip
    assert (appliance.input_gross_kw, appliance.input_stated_kw, appliance.input_stated_basis) == (
        100, 100, "gross"
    )  # fmt: skip
    assert visit.uuid == visit_uuid("job 1")
    assert (visit.kind, visit.source, visit.fuel, visit.outcome) == (
        "annual_service", "import", "natural_gas", "completed"
    )  # fmt: skip
    assert visit.opened_at == datetime(2024, 3, 5, 9, 10, tzinfo=UTC)
    assert visit.closed_at == datetime(2024, 3, 5, 10, 25, tzinfo=UTC)
    assert visit.local_on == date(2024, 3, 5)
    assert visit.received_at == visit.closed_received_at
    assert (visit.revision, visit.uncountersigned, visit.notes) == (1, False, "")
    assert visit.technician.get_full_name() == "Ada Fenwick"
    assert visit.analyser.tag == "P4-01"
    assert visit.analyser_period.starts_on == date(2024, 1, 15)
    assert visit.attendance.plant == appliance.plant
    assert visit.attendance.technician == visit.technician
    assert visit.attendance.local_on == visit.local_on


def test_the_tests_of_a_visit_are_settled_and_in_file_order(bring_in: Importer) -> None:
    bring_in(visit_of("job 1", inlet_pressure_mbar="20.5", fan_rpm="5400", o2_pct=""))
    tests = list(FiringTest.objects.order_by("sequence"))
    assert [test.key for test in tests] == [
        "as_found-high-1", "as_found-low-1", "as_left-high-1", "as_left-low-1"
    ]  # fmt: skip
    first = tests[0]
    assert (first.phase, first.point, first.settled, first.fuel) == (
        "as_found", "high", "stated", "natural_gas"
    )  # fmt: skip
    assert first.observed_at == datetime(2024, 3, 5, 9, 10, tzinfo=UTC)
    assert (first.co2_pct, first.o2_pct, first.co_ppm) == (9.4, None, 35)
    assert (first.flue_temp_c, first.air_temp_c) == (58.5, 14)
    assert (first.inlet_pressure_mbar, first.fan_rpm) == (20.5, 5400)
    assert (first.co2_source, first.moved_before) == ("derived", None)
    assert [test.co2_pct for test in tests] == [9.4, 8.9, 9.0, 8.6]


def test_sequence_source_and_moved_before_are_kept_where_given(bring_in: Importer) -> None:
    bring_in(
        [
            row(sequence="7", co2_source="measured", moved_before="no"),
            row(sequence="", moved_before="yes"),
            row(sequence="3"),
        ]
    )
    tests = FiringTest.objects.order_by("id")
    assert [(test.key, test.sequence) for test in tests] == [
        ("as_found-high-1", 7), ("as_found-high-2", 2), ("as_found-high-3", 3)
    ]  # fmt: skip
    assert [test.moved_before for test in tests] == [False, True, None]
    assert [test.co2_source for test in tests] == ["measured", "derived", "derived"]


def test_imported_visits_are_judged(bring_in: Importer) -> None:
    bring_in([*visit_of("job 1"), *visit_of("job 2", "2025-03-04", o2_pct="25")])
    assert TestResult.objects.count() == 8
    implausible = Visit.objects.get(uuid=visit_uuid("job 2"))
    assert implausible.findings.exists()
    assert FiringTest.objects.filter(visit=implausible, o2_pct=25).count() == 4


def test_a_visit_dated_ahead_of_its_import_is_found_to_be(bring_in: Importer) -> None:
    bring_in([*visit_of("job 1"), *visit_of("job 2", "2090-03-05")])
    found = Finding.objects.get(code="clock_apart")
    assert (found.visit.uuid, found.unit) == (visit_uuid("job 2"), "days")


def test_an_adjustment_is_made_for_each_trim_that_as_left_rows_name(bring_in: Importer) -> None:
    rows = visit_of("job 1")
    rows[2] |= {"adjusted_trim": "throttle", "turns": "0.25"}
    rows[3] |= {"adjusted_trim": "both", "turns": ""}
    bring_in(rows)
    moved = {move.trim: move for move in Adjustment.objects.all()}
    assert set(moved) == {"throttle", "offset"}
    throttle, offset = moved["throttle"], moved["offset"]
    assert (throttle.key, throttle.turns, throttle.direction, throttle.at) == ("throttle-1", 0.25, "", None)
    assert (throttle.before_test, throttle.after_test) == ("as_found-high-1", "as_left-high-1")
    assert (throttle.before_co2_pct, throttle.after_co2_pct) == (9.4, 9.0)
    assert (offset.turns, offset.before_test, offset.after_co2_pct) == (None, "as_found-low-1", 8.6)


def test_a_visit_without_as_left_rows_was_not_adjusted(bring_in: Importer) -> None:
    bring_in(visit_of("job 1")[:2])
    assert FiringTest.objects.count() == 2
    assert not Adjustment.objects.exists()


def test_a_part_is_fitted_once_a_visit_at_the_time_of_its_first_row(bring_in: Importer) -> None:
    rows = visit_of("job 1")
    for cells in rows[2:]:
        cells["part_fitted"] = "gas valve"
    bring_in(rows)
    part = PartFitted.objects.get()
    assert (part.part, part.visit_uuid) == ("gas valve", visit_uuid("job 1"))
    assert part.fitted_at == datetime(2024, 3, 5, 10, 20, tzinfo=UTC)
    assert part.burner == Burner.objects.get()


def test_burners_are_known_by_number_or_name_and_empty_means_the_first(bring_in: Importer) -> None:
    bring_in(
        [
            row(visit="job 1", burner=""), row(visit="job 1", burner="2", turndown="4"),
            row(visit="job 2", burner="1"), row(visit="job 2", burner="rear"),
            row(visit="job 2", burner="02"),
        ]
    )  # fmt: skip
    burners = list(Burner.objects.order_by("position"))
    assert [(burner.position, burner.name, burner.turndown) for burner in burners] == [
        (1, "", None), (2, "", 4), (3, "rear", None)
    ]  # fmt: skip
    read = FiringTest.objects.order_by("id").values_list("burner__position", flat=True)
    assert list(read) == [1, 2, 1, 3, 2]


def test_an_appliance_of_named_burners_has_no_other(bring_in: Importer) -> None:
    bring_in([row(burner="left"), row(burner="right"), row(burner="")])
    assert [burner.name for burner in Burner.objects.order_by("position")] == ["left", "right"]
    assert FiringTest.objects.order_by("id").last().burner.name == "left"


def test_a_model_is_premix_when_its_turndown_pressure_or_trims_are_given(bring_in: Importer) -> None:
    bare = {"turndown": "", "control_pressure_pa": ""}
    rows = [
        *visit_of("1", appliance="B1", model="with turndown", control_pressure_pa=""),
        *visit_of("2", appliance="B2", model="with trims", **bare),
        row(visit="3", appliance="B3", model="with nothing", **bare),
        row(visit="4", appliance="B4", model="", **bare),
        row(visit="5", appliance="B5", model="", maker=""),
    ]
    bring_in(rows)
    kinds = {str(model): model.ratio_control for model in ApplianceModel.objects.all()}
    assert kinds == {
        "Corvane with turndown": "pneumatic_premix",
        "Corvane with trims": "pneumatic_premix",
        "Corvane with nothing": "unknown",
        "Corvane not known": "unknown",
        "not known not known, pneumatic premix": "pneumatic_premix",
    }


def test_what_a_later_row_knows_of_a_model_serves_the_first(bring_in: Importer) -> None:
    bare = {"turndown": "", "control_pressure_pa": "", "serial": "", "maker": ""}
    bring_in([row(visit="1", **bare), row(visit="2", observed_at="2025-03-05T09:10:00Z")], chunk_visits=1)
    model = ApplianceModel.objects.get()
    assert (str(model), model.turndown, model.ratio_control) == ("Corvane CX100", 5, "pneumatic_premix")
    assert Appliance.objects.get().serial == "CX-0001"


def test_a_turndown_that_differs_from_the_models_goes_on_the_burner(bring_in: Importer) -> None:
    bring_in([row(visit="1"), row(visit="2", appliance="B2", turndown="6", control_pressure_pa="650")])
    assert ApplianceModel.objects.get().turndown == 5
    burners = Burner.objects.order_by("appliance__tag")
    assert [(burner.turndown, burner.control_pressure_pa) for burner in burners] == [(None, None), (6, 650)]


def test_rows_on_file_are_used_and_never_overwritten(bring_in: Importer) -> None:
    site = factories.SiteFactory(
        customer__name="Aldermere Baths", name="Mill Lane", time_zone="Europe/Oslo",
        gas_area=factories.GasAreaFactory(name="Old area"),
    )  # fmt: skip
    appliance = factories.ApplianceFactory(
        plant=factories.PlantFactory(site=site, name="Boiler room"), tag="B1", serial="OLD", fuel="propane",
        model=factories.ModelFactory(name="CX90"), input_gross_kw=90, retired_on=date(2025, 1, 1),
    )  # fmt: skip
    outcome = bring_in(visit_of("job 1", timezone="Europe/London"))
    assert Visit.objects.get().appliance == appliance
    assert {note.column for note in outcome.notes} == {
        "gas_area", "timezone", "serial", "model", "fuel", "input_kw", "appliance"
    }  # fmt: skip
    kept = Appliance.objects.get()
    assert (kept.serial, kept.fuel, kept.model.name, kept.input_gross_kw) == ("OLD", "propane", "CX90", 90)
    assert kept.retired_on == date(2025, 1, 1)
    assert Site.objects.get().gas_area.name == "Old area"
    assert Visit.objects.get().fuel == "natural_gas", "the visit keeps the fuel its rows state"


def test_a_difference_with_what_is_on_file_is_noted_once(bring_in: Importer) -> None:
    bring_in(visit_of("job 1", timezone="Europe/London"))
    other = {"serial": "NEW", "timezone": "Europe/London", "calibrated_on": ""}
    later = [cells for n in range(6) for cells in visit_of(f"later {n}", f"20{10 + n}-03-04", **other)]
    outcome = bring_in(later, chunk_visits=2)
    assert [(note.column, note.value) for note in outcome.notes] == [("serial", "NEW")]
    assert "'CX-0001' is on file" in outcome.notes[0].reason


def test_names_are_kept_apart_by_what_they_stand_in(bring_in: Importer) -> None:
    rows = [
        row(visit=f"{customer}{site}{plant}{tag}", customer=customer, site=site, plant=plant, appliance=tag)
        for customer in "ab" for site in "ab" for plant in "ab" for tag in "ab"
    ]  # fmt: skip
    bring_in(rows, chunk_visits=5)
    counts = [model.objects.count() for model in (Customer, Site, Plant, Appliance, Burner, Visit)]
    assert counts == [2, 4, 8, 16, 16, 16]
    assert [model.objects.count() for model in (Maker, ApplianceModel, GasArea)] == [1, 1, 1]


def test_an_attendance_is_one_per_plant_technician_and_local_day(bring_in: Importer) -> None:
    rows = [
        row(visit="1", appliance="B1"),
        row(visit="2", appliance="B2", observed_at="2024-03-05T15:00:00Z"),
        row(visit="3", technician="Bo Larch"),
        row(visit="4", technician=""),
        row(visit="5", technician="", observed_at="2024-03-05T16:00:00Z"),
        row(visit="6", plant="Annexe"),
        row(visit="7", observed_at="2024-03-06T09:00:00Z"),
    ]
    bring_in(rows, chunk_visits=2)
    assert Attendance.objects.count() == 5
    by_visit = dict(Visit.objects.values_list("uuid", "attendance"))
    assert by_visit[visit_uuid("1")] == by_visit[visit_uuid("2")]
    assert by_visit[visit_uuid("4")] == by_visit[visit_uuid("5")]


def test_a_cancelled_attendance_is_not_used_and_a_booked_one_is(bring_in: Importer) -> None:
    bring_in([row(visit="1", timezone="Europe/London")])
    first = Attendance.objects.get()
    bring_in([row(visit="2", appliance="B2")])
    assert Attendance.objects.get() == first
    Attendance.objects.update(cancelled_at=datetime(2024, 3, 4, tzinfo=UTC))
    bring_in([row(visit="3", appliance="B3")])
    assert Attendance.objects.count() == 2


@pytest.mark.parametrize(
    ("observed_at", "local_on"),
    [
        ("2026-03-28T23:30:00+00:00", date(2026, 3, 28)),
        ("2026-03-29T22:59:00+00:00", date(2026, 3, 29)),  # the day of 23 hours ends at 23:00 UTC
        ("2026-03-29T23:00:00+00:00", date(2026, 3, 30)),
        ("2026-10-24T23:00:00+00:00", date(2026, 10, 25)),  # the day of 25 hours begins at 23:00 UTC
        ("2026-10-25T23:59:00+00:00", date(2026, 10, 25)),
    ],
)
def test_the_day_is_the_sites_own_on_both_clock_change_nights(
    bring_in: Importer, observed_at: str, local_on: date
) -> None:
    bring_in([row(observed_at=observed_at, timezone="Europe/London")])
    assert Visit.objects.get().local_on == local_on
    assert Attendance.objects.get().local_on == local_on


def test_a_new_site_takes_the_commands_zone_or_says_which_it_got(bring_in: Importer) -> None:
    outcome = bring_in([row()], default_zone="Pacific/Auckland")
    assert (Site.objects.get().time_zone, outcome.notes) == ("Pacific/Auckland", [])
    outcome = bring_in([row(visit="2", site="Quay")])
    assert Site.objects.get(name="Quay").time_zone == "Europe/London"
    assert [(note.column, note.row) for note in outcome.notes] == [("timezone", 2)]


def test_an_analyser_has_a_period_per_calibration_and_one_for_none(bring_in: Importer) -> None:
    rows = [
        row(visit="1", calibrated_on="2023-01-10"),
        row(visit="2", calibrated_on="2024-01-15"),
        row(visit="3", calibrated_on=""),
        row(visit="4", calibrated_on=""),
        row(visit="5", analyser="P4-02", calibrated_on="2024-01-15"),
        row(visit="6", analyser="", calibrated_on=""),
    ]
    bring_in(rows, chunk_visits=2)
    assert Analyser.objects.count() == 2
    periods = AnalyserPeriod.objects.values_list("analyser__tag", "starts_on", "began")
    assert sorted(periods, key=str) == sorted(
        [
            ("P4-01", None, "unknown"),
            ("P4-01", date(2023, 1, 10), "calibration"),
            ("P4-01", date(2024, 1, 15), "calibration"),
            ("P4-02", date(2024, 1, 15), "calibration"),
        ],
        key=str,
    )
    bare = Visit.objects.get(uuid=visit_uuid("6"))
    assert (bare.analyser, bare.analyser_period) == (None, None)


def test_technicians_are_made_who_cannot_sign_in(bring_in: Importer) -> None:
    bring_in([row(visit="1"), row(visit="2", technician="Ada  Fenwick"), row(visit="3", technician="Cher")])
    names = {user.get_full_name() for user in User.objects.all()}
    assert names == {"Ada Fenwick", "Cher"}
    for user in User.objects.all():
        assert (user.role, user.is_active, user.has_usable_password()) == (Role.TECHNICIAN, False, False)
    assert Technician.objects.count() == 2


def test_a_technician_on_file_is_taken_by_full_name_and_no_one_else(bring_in: Importer) -> None:
    ada = factories.TechnicianFactory(user__first_name="Ada", user__last_name="Fenwick").user
    factories.UserFactory(first_name="Bo", last_name="Larch", role=Role.CONTACT)
    bring_in([row(visit="1"), row(visit="2", technician="Bo Larch")])
    assert Visit.objects.get(uuid=visit_uuid("1")).technician == ada
    bo = Visit.objects.get(uuid=visit_uuid("2")).technician
    assert (bo.role, bo.is_active) == (Role.TECHNICIAN, False)
    assert User.objects.count() == 3


def test_formulas_and_other_odd_text_are_just_text(bring_in: Importer) -> None:
    odd = [
        "=1+1",
        "+CALL()",
        "-x",
        "@x",
        "'; DROP TABLE visits_visit; --",
        "\\N",
        "a\tb",
        'q"u,o\nte',
        "🔥",
        "%s",
    ]
    bring_in(
        [row(visit=text, customer=text, appliance=text, technician=text, part_fitted=text) for text in odd]
    )
    assert set(Customer.objects.values_list("name", flat=True)) == set(odd)
    assert set(Appliance.objects.values_list("tag", flat=True)) == set(odd)
    assert set(PartFitted.objects.values_list("part", flat=True)) == set(odd)


def test_times_out_of_order_open_and_close_the_visit_by_the_clock(bring_in: Importer) -> None:
    rows = list(reversed(visit_of("job 1")))
    bring_in(rows)
    visit = Visit.objects.get()
    assert visit.closed_at - visit.opened_at == timedelta(minutes=75)


def test_one_event_and_one_audit_line_tell_of_the_whole_import(bring_in: Importer) -> None:
    rows = [row(visit=f"job {n}", appliance=f"B{n}") for n in range(7)]
    bring_in(rows, chunk_visits=2)
    event = OutboxEvent.objects.get()
    assert (event.kind, event.subject_id, event.payload) == ("visits.imported", 0, {"visits": 7})
    line = AuditLine.objects.get(verb="imported")
    assert line.detail == {"file": "history.csv", "visits": 7}


def test_the_judging_is_asked_once_a_chunk_with_all_its_visits(bring_in: Importer) -> None:
    asked: list[int] = []

    def judge(cases: Sequence[Case]) -> Any:
        asked.append(len(cases))
        return judge_plainly(cases)

    bring_in([row(visit=f"job {n}") for n in range(7)], chunk_visits=3, judge=judge)
    assert asked == [3, 3, 1]


def test_a_chunk_takes_as_many_queries_for_fifty_visits_as_for_two(bring_in: Importer) -> None:
    def queries(first: int, count: int) -> int:
        rows = [row(visit=f"job {n}", appliance=f"B{n}", site=f"S{n}") for n in range(first, first + count)]
        with CaptureQueriesContext(connection) as captured:
            bring_in(rows)
        return len(captured)

    queries(0, 1)
    assert queries(1, 2) == queries(3, 50)


def test_a_converted_boiler_keeps_the_fuel_of_each_day_and_no_finding_is_made_of_it(
    bring_in: Importer,
) -> None:
    bring_in([*visit_of("job 2", "2025-03-04", fuel="propane"), *visit_of("job 1")])
    assert Appliance.objects.get().fuel == "propane"
    assert list(Visit.objects.order_by("opened_at").values_list("fuel", flat=True)) == [
        "natural_gas",
        "propane",
    ]
    assert not Finding.objects.filter(code="other_fuel").exists()
    assert not FiringTest.objects.exclude(kept_out="").exists()
