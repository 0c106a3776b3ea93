"""Booking: a technician whose licence does not cover the work cannot be booked, and nothing is written."""

from datetime import date, time, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from common.problems import Problem
from people.models import Licence, Technician
from tests import factories as make
from tests.web.conftest import TODAY
from visits.booking import attendance_book, attendance_cancel, licence_gaps
from visits.models import Attendance

SOON = TODAY + timedelta(days=7)


def test_a_booking_is_the_last_of_its_day_and_keeps_the_sites_clock(fleet) -> None:
    summer = date(TODAY.year + 1, 7, 1)
    Licence.objects.update(ends_on=None)
    plants = [fleet.appliance.plant, fleet.other_appliance.plant]
    rows = [
        attendance_book(
            by=fleet.office, plant=plant, technician=fleet.technician, on=summer, start=time(8, 30)
        )
        for plant in plants
    ]
    assert [row.position for row in rows] == [0, 1]
    assert rows[0].planned_start_at.isoformat() == f"{summer}T08:30:00+01:00"
    assert rows[0].booked_by == fleet.office


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ends_on": TODAY - timedelta(days=1)}, "no licence in force that day"),
        ({"fuels": "lpg"}, "no licence for this work, fuel or input"),
        ({"max_input_gross_kw": 70.0}, "no licence for this work, fuel or input"),
    ],
)
def test_a_technician_without_the_licence_is_refused_by_name(fleet, change, words) -> None:
    Licence.objects.update(**change)
    before = Attendance.objects.count()
    with pytest.raises(Problem) as refusal:
        attendance_book(by=fleet.office, plant=fleet.appliance.plant, technician=fleet.technician, on=SOON)
    assert refusal.value.code == "not_covered"
    assert "B1" in refusal.value.detail
    assert "B2" in refusal.value.detail
    assert words in refusal.value.detail
    assert Attendance.objects.count() == before


def test_somebody_without_any_licence_on_file_covers_nothing(fleet) -> None:
    nobody = make.UserFactory(role="technician")
    gaps = licence_gaps(technician=nobody, plant=fleet.appliance.plant, on=SOON)
    assert [(gap.appliance.tag, gap.code) for gap in gaps] == [
        ("B1", "licence_unknown"),
        ("B2", "licence_unknown"),
    ]


def test_a_second_booking_of_the_same_day_a_past_day_and_an_absence_are_refused(fleet) -> None:
    booking = {"by": fleet.office, "plant": fleet.appliance.plant, "technician": fleet.technician}
    attendance_book(**booking, on=SOON)
    with pytest.raises(Problem) as twice:
        attendance_book(**booking, on=SOON)
    with pytest.raises(Problem) as past:
        attendance_book(**booking, on=TODAY - timedelta(days=2))
    Technician.objects.update(away_from=SOON, away_until=SOON + timedelta(days=3))
    with pytest.raises(Problem) as away:
        attendance_book(**booking, on=SOON + timedelta(days=1))
    assert [p.value.code for p in (twice, past, away)] == ["booked_already", "in_the_past", "away"]


def test_a_cancelled_booking_frees_the_day_and_one_with_visits_stays(fleet) -> None:
    booking = {"by": fleet.office, "plant": fleet.appliance.plant, "technician": fleet.technician, "on": SOON}
    attendance_cancel(by=fleet.office, attendance=attendance_book(**booking))
    assert attendance_book(**booking).cancelled_at is None
    with pytest.raises(Problem) as refusal:
        attendance_cancel(by=fleet.office, attendance=fleet.visit.attendance)
    assert refusal.value.code == "has_visits"


def test_only_the_office_books(fleet) -> None:
    for person in (fleet.technician, fleet.contact):
        with pytest.raises(PermissionDenied):
            attendance_book(by=person, plant=fleet.appliance.plant, technician=fleet.technician, on=SOON)


def test_the_form_says_which_field_and_why_and_keeps_what_was_typed(fleet, page_of) -> None:
    Licence.objects.update(fuels="lpg")
    address = reverse("web:book", args=[fleet.appliance.plant_id])
    typed = {
        "technician": fleet.technician.pk,
        "on": SOON.isoformat(),
        "start": "08:30",
        "notes": "side door",
    }
    answer = page_of(fleet.office).post(address, typed)
    assert answer.status_code == 200
    assert "no licence for this work, fuel or input" in answer.context["form"].errors["technician"][0]
    for text in (SOON.isoformat(), "08:30", "side door", 'aria-invalid="true"'):
        assert text in answer.text


def test_the_licence_is_checked_before_booking_where_there_is_javascript(fleet, page_of) -> None:
    address = reverse("web:licence-check", args=[fleet.appliance.plant_id])
    asked = {"technician": fleet.technician.pk, "on": SOON.isoformat()}
    client = page_of(fleet.office)
    assert "cover every appliance" in client.get(address, asked).text
    Licence.objects.update(fuels="lpg")
    assert "cannot be booked" in client.get(address, asked).text
    assert client.get(address, {"technician": "x", "on": "never"}).text.strip() == ""
