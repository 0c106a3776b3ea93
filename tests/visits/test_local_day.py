"""One attendance per plant, technician and local day, also on the nights when the clocks change.

Nights by the IANA database: Europe/London 2026-03-29 01:00 UTC forward, 2026-10-25 01:00 UTC back;
America/New_York 2026-03-08 07:00 UTC forward, 2026-11-01 06:00 UTC back.
"""

from datetime import date

import pytest

from tests.factories import ApplianceFactory
from tests.visits.bodies import visit_body
from visits.models import Attendance, Visit

pytestmark = pytest.mark.django_db

NIGHTS = [
    # zone, opened_at, local day
    ("Europe/London", "2026-03-28T23:59:59Z", date(2026, 3, 28)),
    ("Europe/London", "2026-03-29T00:00:00Z", date(2026, 3, 29)),
    ("Europe/London", "2026-03-29T22:59:59Z", date(2026, 3, 29)),
    ("Europe/London", "2026-03-29T23:00:00Z", date(2026, 3, 30)),
    ("Europe/London", "2026-10-24T22:59:59Z", date(2026, 10, 24)),
    ("Europe/London", "2026-10-24T23:00:00Z", date(2026, 10, 25)),
    ("Europe/London", "2026-10-25T23:59:59Z", date(2026, 10, 25)),
    ("Europe/London", "2026-10-26T00:00:00Z", date(2026, 10, 26)),
    ("America/New_York", "2026-03-08T04:59:59Z", date(2026, 3, 7)),
    ("America/New_York", "2026-03-08T05:00:00Z", date(2026, 3, 8)),
    ("America/New_York", "2026-03-09T03:59:59Z", date(2026, 3, 8)),
    ("America/New_York", "2026-03-09T04:00:00Z", date(2026, 3, 9)),
    ("America/New_York", "2026-11-01T03:59:59Z", date(2026, 10, 31)),
    ("America/New_York", "2026-11-01T04:00:00Z", date(2026, 11, 1)),
    ("America/New_York", "2026-11-02T04:59:59Z", date(2026, 11, 1)),
    ("America/New_York", "2026-11-02T05:00:00Z", date(2026, 11, 2)),
]


def at_zone(scene, zone):
    site = scene.appliance.plant.site
    site.time_zone = zone
    site.save()


def put(scene, number, opened_at, *, appliance=None, api=None):
    body = visit_body(appliance or scene.appliance, scene.analyser, opened_at=opened_at)
    answer = scene.put(body, uuid=f"00000000-0000-7000-8000-{number:012}", api=api)
    assert answer.status_code == 201, answer.content
    return Visit.objects.get(uuid=f"00000000-0000-7000-8000-{number:012}")


@pytest.mark.parametrize(("zone", "opened_at", "day"), NIGHTS)
def test_day_of_a_visit_is_the_day_at_the_site(scene, zone, opened_at, day):
    at_zone(scene, zone)
    visit = put(scene, 1, opened_at)
    assert visit.local_on == day
    assert visit.attendance.local_on == day


@pytest.mark.parametrize("zone", ["Europe/London", "America/New_York"])
def test_short_and_long_days_hold_one_attendance_each(scene, zone):
    at_zone(scene, zone)
    moments = [(moment, day) for name, moment, day in NIGHTS if name == zone]
    for number, (moment, _) in enumerate(moments):
        put(scene, number, moment)
    days = sorted({day for _, day in moments})
    assert sorted(Attendance.objects.values_list("local_on", flat=True)) == days


def test_offset_of_the_device_does_not_move_the_day(scene):
    """The same instant, told from Tokyo, is the same day at the site."""
    at_zone(scene, "America/New_York")
    assert put(scene, 1, "2026-11-02T13:59:59+09:00").local_on == date(2026, 11, 1)


def test_two_appliances_of_one_plant_share_the_attendance_and_another_technician_does_not(
    scene, colleague, api_of
):
    second = ApplianceFactory(plant=scene.appliance.plant, model=scene.appliance.model)
    first = put(scene, 1, "2026-03-02T09:00:00Z")
    assert put(scene, 2, "2026-03-02T11:00:00Z", appliance=second).attendance == first.attendance
    other = put(scene, 3, "2026-03-02T11:00:00Z", appliance=second, api=api_of(colleague))
    assert other.attendance != first.attendance
    assert other.attendance.technician == colleague


def test_another_plant_is_another_attendance(scene):
    first = put(scene, 1, "2026-03-02T09:00:00Z")
    elsewhere = ApplianceFactory(model=scene.appliance.model)
    assert put(scene, 2, "2026-03-02T09:00:00Z", appliance=elsewhere).attendance != first.attendance


def test_booked_attendance_of_the_day_is_taken(scene):
    booked = Attendance.objects.create(
        plant=scene.appliance.plant, technician=scene.technician, local_on=date(2026, 3, 2)
    )
    assert put(scene, 1, "2026-03-02T09:00:00Z").attendance == booked


def test_cancelled_attendance_is_not_taken(scene):
    booked = Attendance.objects.create(
        plant=scene.appliance.plant,
        technician=scene.technician,
        local_on=date(2026, 3, 2),
        cancelled_at="2026-03-01T09:00:00Z",
    )
    assert put(scene, 1, "2026-03-02T09:00:00Z").attendance != booked


def test_time_of_opening_stays_that_of_the_first_save_and_so_does_the_day(scene):
    """A visit stays with its attendance, whatever a later save says of when the form was opened."""
    body = visit_body(scene.appliance, scene.analyser, opened_at="2026-03-01T09:00:00Z")
    scene.put(body)
    scene.put({**body, "save_no": 2, "opened_at": "2026-03-02T09:00:00Z"})
    assert scene.visit.local_on == date(2026, 3, 1)
    assert scene.visit.attendance.local_on == date(2026, 3, 1)
