"""What the drift work does when it is told of a visit, and what the tick lets it do."""

from datetime import datetime, timedelta

from django.db.models import Q
from django.utils import timezone

from analytics.claiming import DriftBusy
from analytics.models import DriftDuty, DriftPointer, DriftRun
from common.models import OutboxEvent

TAKEN_FOR_DEAD_AFTER = timedelta(hours=1)


def visit_told(event: OutboxEvent) -> None:
    """Refit the visit's appliance at once; an import, or a first visit, leaves the fleet to the tick."""
    if event.kind == "visits.imported":
        DriftDuty.objects.get_or_create(period=f"import {event.pk}")
    elif not DriftPointer.objects.filter(current__isnull=False).exists():
        DriftDuty.objects.get_or_create(period="first")
    else:
        # the statistics are loaded by the process that needs them, not by every web process at its start
        from analytics.services import appliances_refit

        appliances_refit([event.payload["appliance"]])


def recompute_what_is_owed(now: datetime) -> dict[str, object]:
    """Once a night, and after imports, recompute the fleet: one run for all that is owed."""
    DriftDuty.objects.get_or_create(period=now.date().isoformat())
    owed = list(DriftDuty.objects.filter(_free(now)).values_list("pk", "period"))
    taken = [(pk, period) for pk, period in owed if _take(pk, now)]
    if not taken:
        return {}
    from analytics.services import fleet_recompute

    imported = any(period.startswith("import") for _, period in taken)
    rows = DriftDuty.objects.filter(pk__in=[pk for pk, _ in taken])
    try:
        done = fleet_recompute(
            kind=DriftRun.Kind.IMPORT if imported else DriftRun.Kind.NIGHTLY, now=timezone.now()
        )
    except DriftBusy:
        rows.update(started_at=None)
        return {"busy": len(taken)}
    rows.update(finished_at=timezone.now(), run=done.run)
    return {"run": done.run.pk, "flagged": done.run.flagged_appliances}


def _free(now: datetime) -> Q:
    return Q(finished_at__isnull=True) & (
        Q(started_at__isnull=True) | Q(started_at__lt=now - TAKEN_FOR_DEAD_AFTER)
    )


def _take(pk: int, now: datetime) -> bool:
    return DriftDuty.objects.filter(_free(now), pk=pk).update(started_at=now) == 1
