"""What a service record says, and what it never says."""

import json
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests import factories as make
from visits.models import TemporaryChange, Visit
from visits.service_record.content import attendance_for_record, content_build
from visits.service_record.issuing import record_issue
from visits.service_record.sheet import paper_for, sheet_build, units_for
from visits.service_record.words import clock_text


def content_of(attendance):
    return content_build(attendance_for_record(attendance))


def text_of(sheet):
    return json.dumps(sheet, ensure_ascii=False)


def test_a_record_says_what_was_found_left_done_and_put_back(attendance, visit) -> None:
    text = text_of(sheet_build(content_of(attendance), units="si"))
    for said in (
        "9.55 ± 0.14",  # as found, U at k = 2 of u = 0.07
        "9.02 ± 0.14",  # as left
        "k = 2",
        "probably outside (31 %)",
        "8.50 – 9.50",
        "0.25 turns",
        "clockwise",
        "electrode",
        "CO in room air before anything is fired",  # the item's own words
        "2.5 ppm",
        "Trap looked at",
        "heating set point",
        "70 °C",
        "CO2 outside the acceptance band as found",
        "Aldermere gas register",
        "It does not declare any appliance safe",
        "Condensate trap cleaned.",
    ):
        assert said in text, said


def test_each_test_says_whether_its_efficiency_is_indicative(attendance, visit) -> None:
    visit.firingtests.filter(phase="as_left", point="high").update(thermally_steady=True)
    visit.firingtests.filter(phase="as_left", point="low").update(thermally_steady=False)
    text = text_of(sheet_build(content_of(attendance), units="si"))
    said = ["That efficiency is", "indicative", "of a steady boiler", "indicative", "indicative"]
    assert json.dumps(said)[1:-1] in text


def test_a_record_never_says_that_an_appliance_is_safe_nor_calls_itself_a_certificate(
    attendance, fleet
) -> None:
    for seen in (attendance, fleet.grave_visit.attendance):
        text = text_of(sheet_build(content_of(seen), units="si")).lower()
        assert "certif" not in text
        for place in range(len(text)):
            if text.startswith(" safe", place) and not text.startswith(" safety", place):
                before = text[max(0, place - 40) : place]
                assert "does not declare any appliance" in before or "make" in before, before


def test_a_grave_finding_and_what_was_not_put_back_come_before_every_number(fleet) -> None:
    sheet = sheet_build(content_of(fleet.grave_visit.attendance), units="si")
    alarm, caution = sheet["alarms"]
    assert alarm["title"] == "Keep WH-1 off"
    assert "CO at the make-safe level" in alarm["lines"][0]
    assert "1240" in alarm["lines"][0]
    assert caution["lines"] == ["WH-1: lag boiler"]
    assert "waits for a licensed person's signature" in text_of(sheet)


def test_where_no_trim_was_moved_what_was_found_is_what_was_left(fleet) -> None:
    still = next(
        seen
        for seen in fleet.appliance.visits.order_by("opened_at")
        if not seen.adjustments.exists() and seen.firingtests.exists()
    )
    blocks = sheet_build(content_of(still.attendance), units="si")["blocks"]
    readings = next(block for block in blocks if block["kind"] == "table" and block.get("whole"))
    row = readings["rows"][0]
    assert readings["head"][1:] == [
        "High fire, as found",
        "High fire, as left",
        "Low fire, as found",
        "Low fire, as left",
    ]
    assert (row[2], row[4]) == ("as found", "as found")


def test_us_customary_units_are_converted_and_spreads_scaled(attendance) -> None:
    text = text_of(sheet_build(content_of(attendance), units="us"))
    assert "Flue gas temperature (°F)" in text
    assert '"143"' in text  # 61.5 °C
    assert "8.19" in text  # 20.4 mbar in inches of water
    assert "9.02 ± 0.14" in text  # vol % stays


def test_units_and_paper_follow_the_site_s_country_unless_asked_otherwise(attendance, fleet) -> None:
    here = content_of(attendance)
    there = here | {"place": here["place"] | {"country": "US"}}
    assert (units_for(here), paper_for(here)) == ("si", "a4")
    assert (units_for(there), paper_for(there)) == ("us", "us-letter")
    assert units_for(there, fleet.office, "si") == "si"
    fleet.office.units = "us"
    assert units_for(here, fleet.office) == "us"


@pytest.mark.parametrize(
    ("utc", "shown"),
    [
        (datetime(2026, 3, 29, 0, 59, tzinfo=UTC), "00:59 GMT"),
        (datetime(2026, 3, 29, 1, 0, tzinfo=UTC), "02:00 BST"),
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "01:30 BST"),
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "01:30 GMT"),
    ],
)
def test_times_are_the_site_s_even_in_the_nights_when_clocks_change(utc, shown) -> None:
    assert clock_text(utc.isoformat(), ZoneInfo("Europe/London")) == shown


def test_only_the_last_visit_of_an_appliance_has_a_next_date(fleet) -> None:
    dated = [
        bool(content_of(seen.attendance)["visits"][0]["next_on"])
        for seen in fleet.other_appliance.visits.order_by("opened_at")
    ]
    assert dated == [False, True]


def test_an_open_visit_is_named_and_not_part_of_the_record(attendance, visit) -> None:
    other = make.ApplianceFactory(plant=attendance.plant, tag="B9")
    make.VisitFactory(appliance=other, attendance=attendance, local_on=visit.local_on)
    content = content_of(attendance)
    assert content["open"] == ["B9"]
    assert "B9" not in [row["appliance"]["tag"] for row in content["visits"]]
    assert "Still open: B9." in text_of(sheet_build(content, units="si"))


def test_a_record_waits_while_a_visit_of_today_is_open_and_no_longer(fleet) -> None:
    today = timezone.now()
    appliance = make.ApplianceFactory()
    closed = make.VisitFactory(
        appliance=appliance,
        opened_at=today,
        closed_at=today,
        outcome="completed",
        local_on=today.astimezone(ZoneInfo("Europe/London")).date(),
    )
    second = make.ApplianceFactory(plant=appliance.plant)
    going_on = make.VisitFactory(
        appliance=second, attendance=closed.attendance, local_on=closed.local_on, opened_at=today
    )
    assert record_issue(by=None, attendance=closed.attendance).record is None
    Visit.objects.filter(pk=going_on.pk).update(closed_at=today, outcome="no_access")
    assert record_issue(by=None, attendance=closed.attendance).record is not None


def test_a_record_takes_the_same_queries_for_one_visit_as_for_ten(attendance, visit) -> None:
    """attendance and place · visits · tests · results · findings · adjustments · changes · settings ·
    answers · corrections · licences · parts · safety events · items
    """
    counts = []
    for more in (0, 9):
        for number in range(more):
            other = make.ApplianceFactory(plant=attendance.plant)
            again = make.VisitFactory(
                appliance=other,
                attendance=attendance,
                local_on=visit.local_on,
                closed_at=visit.closed_at,
                outcome="completed",
            )
            make.FiringTestFactory(visit=again)
            TemporaryChange.objects.create(visit=again, key=f"c{number}", what="lag boiler")
        with CaptureQueriesContext(connection) as queries:
            content_of(attendance)
        counts.append(len(queries))
    assert counts == [14, 14]
