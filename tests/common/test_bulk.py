"""Rows written in bulk are the rows that the ORM would have written."""

import json
import uuid
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone as clock

from common.bulk import keys_reserve, rows_write
from common.models import AuditLine
from tests import factories as make
from visits.models import Attendance, FiringTest, Phase, Visit

pytestmark = pytest.mark.django_db
SAID = {"text": 'quotes " and \\ and \t, Ångström 🔥', "none": None, "list": [1, 2.5, True], "n": {}}


def test_values_of_every_kind_come_back_as_they_went() -> None:
    appliance = make.ApplianceFactory()
    attendance = make.AttendanceFactory(plant=appliance.plant)
    opened = datetime(2024, 3, 31, 1, 30, 0, 123456, tzinfo=timezone(timedelta(hours=2)))
    (key,) = keys_reserve(Visit, 1)
    values = {
        "id": key,
        "uuid": uuid.uuid4(),
        "attendance": attendance.pk,
        "appliance_id": appliance.pk,
        "kind": "recheck",
        "source": Visit.Source.IMPORT,
        "technician": None,
        "fuel": "natural_gas",
        "opened_at": opened,
        "local_on": date(2024, 3, 31),
        "notes": 'one\ttwo\nthree \\N "four" Ångström 🔥',
        "health_as_found": 0.1 + 0.2,
        "health_as_found_full": True,
        "health_checked": json.dumps(SAID),
    }
    rows_write(Visit, list(values), [tuple(values.values())])
    visit = Visit.objects.get()
    given = {**values, "attendance_id": attendance.pk, "technician_id": None, "health_checked": SAID}
    for name in given.keys() - {"attendance", "technician"}:
        assert getattr(visit, name) == given[name], name
    assert visit.opened_at.tzinfo == UTC
    assert visit.health_as_left is None
    assert (visit.revision, visit.outcome, visit.uncountersigned) == (1, "", False)
    assert abs((visit.received_at - clock.now()).total_seconds()) < 600


def test_what_is_left_out_gets_its_default() -> None:
    rows_write(AuditLine, ["actor_name", "verb", "subject_type", "subject_id"], [("a", "b", "c", 1)] * 2)
    assert [line.detail for line in AuditLine.objects.all()] == [{}, {}]


@pytest.mark.parametrize("odd", [float("inf"), 1e6])
def test_the_databases_constraints_guard(odd: float) -> None:
    visit, burner = make.VisitFactory(), make.BurnerFactory()
    columns = ["visit", "key", "burner", "point", "phase", "sequence", "fuel", "co2_pct"]
    row = (visit.pk, "k", burner.pk, "high", Phase.AS_FOUND, 1, "natural_gas")
    with pytest.raises(IntegrityError), transaction.atomic():
        rows_write(FiringTest, columns, [(*row, 9.0), (*row[:1], "l", *row[2:], odd)])
    assert not FiringTest.objects.exists()


def test_reserved_keys_are_new_even_after_rows_were_deleted() -> None:
    last = make.AttendanceFactory()
    used = last.pk
    last.delete()
    keys = keys_reserve(Attendance, 3)
    assert keys == sorted(set(keys))
    assert min(keys) > used
    assert keys_reserve(Attendance, 0) == []
    plant = make.PlantFactory()
    row = (keys[2], uuid.uuid4(), plant.pk, date(2026, 3, 2))
    rows_write(Attendance, ["id", "uuid", "plant", "local_on"], [row])
    assert make.AttendanceFactory().pk not in keys
