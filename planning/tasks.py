"""What planning does when it is told of a visit, and what the tick lets it do."""

from datetime import datetime, timedelta

from django.db.models import Q
from django.utils import timezone

from common.models import OutboxEvent
from planning.models import PlanningRun
from planning.services import fleet_plan, plan_appliances

# A run that began this long ago and has not finished is taken to have died.
TAKEN_FOR_DEAD_AFTER = timedelta(hours=1)


def visit_told(event: OutboxEvent) -> None:
    """Plan the visit's appliance at once; after an import leave the whole fleet to the tick."""
    if event.kind == "visits.imported":
        PlanningRun.objects.get_or_create(period=f"import {event.pk}")
    else:
        plan_appliances([event.payload["appliance"]], today=timezone.localdate())


def plan_what_is_owed(now: datetime) -> dict[str, int]:
    """Once a day, and after each import, plan the whole fleet. Returns appliances changed per period."""
    PlanningRun.objects.get_or_create(period=now.date().isoformat())
    changed = {}
    for run in PlanningRun.objects.filter(finished_at__isnull=True):
        if _claim(run, now):
            changed[run.period] = fleet_plan(today=now.date()).changed
            PlanningRun.objects.filter(pk=run.pk).update(finished_at=timezone.now())
    return changed


def _claim(run: PlanningRun, now: datetime) -> bool:
    free = Q(started_at__isnull=True) | Q(started_at__lt=now - TAKEN_FOR_DEAD_AFTER)
    return PlanningRun.objects.filter(free, pk=run.pk, finished_at__isnull=True).update(started_at=now) == 1
