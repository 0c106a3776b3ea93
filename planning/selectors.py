"""Reads of planning: the history of an appliance and the technician's day."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import BigIntegerField, DateField, F, OuterRef, Prefetch, QuerySet, Subquery

from common.grouping import grouped
from common.prepared import Among, Bind, Prepared, hang
from fleet.models import Appliance, ApplianceModel, Burner, FiringSpec, ModelTrim
from people.models import User
from visits.models import Attendance, FiringTest, Phase, TestResult, Visit


def history_of(appliance: Appliance) -> QuerySet[Visit]:
    """All visits of one appliance, each with its standing tests, their settled values and newest results."""
    return (
        Visit.objects.filter(appliance=appliance)
        .select_related("technician", "analyser")
        .prefetch_related(
            Prefetch("firingtests", _settled_tests().prefetch_related(Prefetch("results", _results())))
        )
    )


@dataclass(frozen=True)
class Day:
    """One technician's day: attendances in order, and every model that is met on it once.

    Each attendance carries `sent` (its visits so far) and its plant `in_use` (its appliances), each appliance
    `last` (its last closed visit, or None).
    """

    technician: User
    on: date
    attendances: Sequence[Attendance]
    models: Sequence[ApplianceModel]


_KEY = BigIntegerField()
_attendances = Prepared(
    lambda: (
        Attendance.objects.standing()
        .filter(technician=Bind("technician", _KEY), local_on=Bind("on", DateField()))
        .select_related("plant__site__customer")
        .order_by("position", F("planned_start_at").asc(nulls_last=True), "pk")
    )
)
_sent = Prepared(
    lambda: (
        Visit.objects.filter(Among("attendance", "attendances"))
        .select_related("appliance")
        .order_by("opened_at", "pk")
    )
)
_in_use = Prepared(lambda: Appliance.objects.in_use().filter(Among("plant", "plants")).order_by("tag", "pk"))
_burners = Prepared(lambda: Burner.objects.filter(Among("appliance", "appliances")))
_models = Prepared(lambda: ApplianceModel.objects.filter(Among("pk", "models")).select_related("maker"))
_trims = Prepared(lambda: ModelTrim.objects.filter(Among("model", "models")).select_related("sensitivity"))
_specs = Prepared(lambda: FiringSpec.objects.filter(Among("model", "models")))


def day_of(technician: User, on: date) -> Day:
    """What a technician needs for a day, in ten queries however long the day is.

    attendances with places, their visits, appliances, burners, last visits, those visits' tests, results,
    models, trims, firing specs
    """
    attendances: list[Any] = _attendances(technician=technician.pk, on=on)
    sent = grouped(_sent(attendances=[row.pk for row in attendances]), "attendance_id")
    in_use = grouped(_in_use(plants={row.plant_id for row in attendances}), "plant_id")
    for row in attendances:
        row.sent, row.plant.in_use = sent[row.pk], in_use[row.plant_id]
    appliances = [appliance for row in attendances for appliance in row.plant.in_use]
    keys = [appliance.pk for appliance in appliances]
    hang(_burners(appliances=keys), appliances, by="appliance_id", under="burners")
    _attach_last_visits(appliances)
    model_ids = {appliance.model_id for appliance in appliances}
    models = _models(models=model_ids)
    hang(_trims(models=model_ids), models, by="model_id", under="trims")
    hang(_specs(models=model_ids), models, by="model_id", under="firing_specs")
    return Day(technician=technician, on=on, attendances=attendances, models=models)


def _newest_visits() -> QuerySet[Visit]:
    closed = Visit.objects.closed().filter(appliance=OuterRef("pk")).order_by("-opened_at", "-pk")
    newest = Appliance.objects.filter(Among("pk", "appliances")).annotate(
        newest=Subquery(closed.values("pk")[:1])
    )
    # distinct: else PostgreSQL may look for the newest anew for every pair of a visit and an appliance
    return Visit.objects.filter(pk__in=newest.order_by().values("newest").distinct())


def _settled_tests() -> QuerySet[FiringTest]:
    return FiringTest.objects.standing().select_related("burner").order_by("sequence", "pk")


def _results() -> QuerySet[TestResult]:
    rows = TestResult.objects.order_by("engine_version", "pk")
    return rows.only("test_id", "verdict", "p_inside", "co2_pct")


_last_visits = Prepared(_newest_visits)
_last_tests = Prepared(lambda: _settled_tests().exclude(phase=Phase.WORKING).filter(Among("visit", "visits")))
_last_results = Prepared(lambda: _results().filter(Among("test", "tests")))


def _attach_last_visits(appliances: Iterable[Any]) -> None:
    """Give each appliance `last`: its last closed visit with the as-left tests, else as found."""
    visits = _last_visits(appliances=[appliance.pk for appliance in appliances])
    tests = _last_tests(visits=[visit.pk for visit in visits])
    hang(_last_results(tests=[test.pk for test in tests]), tests, by="test_id", under="results")
    hang(tests, visits, by="visit_id", under="firingtests")
    last = {visit.appliance_id: visit for visit in visits}
    for appliance in appliances:
        appliance.last = last.get(appliance.pk)
