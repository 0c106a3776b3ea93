"""The day's bundle for 20 visits, in a fleet of 100,000 appliances."""

import gzip
import os
import statistics
import time
from datetime import date
from typing import Any

from django.db import connection
from rest_framework.test import APIRequestFactory

from people.models import User
from people.services import device_token_issue
from planning.api import DayView
from tests.benchmarks.big_fleet import load, unload
from tests.factories import AttendanceFactory, LicenceFactory, PlantFactory
from visits.models import Attendance

APPLIANCES = int(os.environ.get("BENCH_DAY_APPLIANCES", "100000"))
VISITS, STOPS, ROUNDS = 4, 20, 30
DAY = date(2026, 3, 2)


def rows() -> list[dict[str, Any]]:
    """The rows of this benchmark; none without PostgreSQL, which the big fleet is loaded into."""
    if connection.vendor != "postgresql":
        return []
    load(appliances=APPLIANCES, visits=VISITS)
    try:
        technician = LicenceFactory().technician.user
        _book(technician)
        taken_ms, compressed = _asked(technician)
    finally:
        Attendance.objects.filter(local_on=DAY).delete()
        unload()
    return [
        {
            "name": f"day/ for {STOPS} visits among {APPLIANCES:,} appliances, median",
            "value": taken_ms,
            "unit": "ms",
            "target": 100,
            "better": "less",
            "met": taken_ms <= 100,
            "reason": "client and database share the cores of this machine",
        },
        {
            "name": f"day/ for {STOPS} visits, compressed",
            "value": compressed / 1000,
            "unit": "kB",
            "target": 200,
            "better": "less",
            "met": compressed <= 200_000,
        },
    ]


def _book(technician: User) -> None:
    """One appliance with its past in each of 20 plants, all on one day."""
    with connection.cursor() as cursor:
        for table in ("fleet_customer", "fleet_site", "fleet_plant", "visits_attendance"):
            # The fleet came with its numbers; new rows go above them.
            cursor.execute("SELECT setval(pg_get_serial_sequence(%s, 'id'), 1000000000)", [table])
        for number in range(STOPS):
            plant = PlantFactory(site__customer__country="GB")
            appliance = 1 + number * (APPLIANCES // STOPS)
            cursor.execute("UPDATE fleet_appliance SET plant_id = %s WHERE id = %s", [plant.pk, appliance])
            AttendanceFactory(technician=technician, plant=plant, position=number, local_on=DAY)


def _asked(technician: User) -> tuple[float, int]:
    """Median milliseconds of an answer, compressed as a device has it, and its bytes."""
    _, token = device_token_issue(user=technician, name="bench")
    view, times = DayView.as_view(), []
    for _ in range(ROUNDS + 3):
        request = APIRequestFactory().get(
            "/", {"date": DAY}, HTTP_AUTHORIZATION=f"Bearer {token}", HTTP_ACCEPT_ENCODING="gzip"
        )
        start = time.perf_counter()
        answer = view(request)
        times.append(time.perf_counter() - start)
    appliances = gzip.decompress(answer.content).count(b'"plant_id"')
    assert (answer.status_code, appliances) == (200, STOPS), (answer.status_code, appliances)
    return statistics.median(times[3:]) * 1000, len(answer.content)
