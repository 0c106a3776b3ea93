"""The day's bundle for 20 visits, in a fleet of 100,000 appliances."""

import gzip
import os
import statistics
import time
from datetime import date
from typing import Any

import numpy as np
from django.db import connection
from rest_framework.test import APIRequestFactory

from people.models import User
from people.services import device_token_issue
from planning.api import DayView
from tests.benchmarks.big_fleet import load, unload
from tests.benchmarks.measures import at_most
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
        times_ms, compressed = _asked(technician)
    finally:
        Attendance.objects.filter(local_on=DAY).delete()
        unload()
    asked = f"day/ for {STOPS} visits among {APPLIANCES:,} appliances"
    why = "client and database share the cores of this machine"
    return [
        at_most(f"{asked}, median", statistics.median(times_ms), "ms", 60, why),
        at_most(f"{asked}, p95", float(np.percentile(times_ms, 95)), "ms", 100, why),
        at_most(f"day/ for {STOPS} visits, compressed", compressed / 1000, "kB", 200),
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


def _asked(technician: User) -> tuple[list[float], int]:
    """Milliseconds of each answer, compressed as a device has it, and its bytes."""
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
    return [1e3 * taken for taken in times[3:]], len(answer.content)
