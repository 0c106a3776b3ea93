"""Reads of planning: the history of an appliance and the technician's day."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F, OuterRef, Prefetch, QuerySet, Subquery

from fleet.models import Appliance, ApplianceModel, ModelTrim
from people.models import User
from visits.models import Attendance, FiringTest, Phase, TestResult, Visit


def history_of(appliance: Appliance) -> QuerySet[Visit]:
    """All visits of one appliance, each with its standing tests, their settled values and newest results."""
    return (
        Visit.objects.filter(appliance=appliance)
        .select_related("technician", "analyser")
        .prefetch_related(Prefetch("firingtests", _settled_tests()))
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


def day_of(technician: User, on: date) -> Day:
    """What a technician needs for a day, in ten queries however long the day is.

    attendances with places, their visits, appliances, burners, last visits, those visits' tests, results,
    models, trims, firing specs
    """
    in_use = Appliance.objects.in_use().order_by("tag", "pk").prefetch_related("burners")
    attendances = list(
        Attendance.objects.standing()
        .filter(technician=technician, local_on=on)
        .select_related("plant__site__customer")
        .prefetch_related(
            Prefetch("visits", Visit.objects.order_by("opened_at", "pk").select_related("appliance"), "sent"),
            Prefetch("plant__appliances", in_use, "in_use"),
        )
        .order_by("position", F("planned_start_at").asc(nulls_last=True), "pk")
    )
    appliances = [appliance for row in attendances for appliance in row.plant.in_use]
    _attach_last_visits(appliances)
    models = ApplianceModel.objects.filter(pk__in={appliance.model_id for appliance in appliances})
    return Day(
        technician=technician,
        on=on,
        attendances=attendances,
        models=list(
            models.select_related("maker").prefetch_related(
                Prefetch("trims", ModelTrim.objects.select_related("sensitivity")), "firing_specs"
            )
        ),
    )


def _attach_last_visits(appliances: Iterable[Any]) -> None:
    """Give each appliance `last`: its last closed visit with the as-left tests, else as found."""
    by_id: dict[int, list[Any]] = defaultdict(list)
    for appliance in appliances:
        appliance.last = None
        by_id[appliance.pk].append(appliance)
    newest = Visit.objects.closed().filter(appliance=OuterRef("pk")).order_by("-opened_at", "-pk")
    last_ids = (
        Appliance.objects.filter(pk__in=by_id).annotate(last_id=Subquery(newest.values("pk")[:1]))
    ).values("last_id")
    tests = _settled_tests().exclude(phase=Phase.WORKING)
    for visit in Visit.objects.filter(pk__in=last_ids).prefetch_related(Prefetch("firingtests", tests)):
        for appliance in by_id[visit.appliance_id]:
            appliance.last = visit


def _settled_tests() -> QuerySet[FiringTest]:
    results = TestResult.objects.order_by("engine_version", "pk").only("test_id", "verdict", "p_inside")
    return (
        FiringTest.objects.standing()
        .select_related("burner")
        .order_by("sequence", "pk")
        .prefetch_related(Prefetch("results", results))
    )
