"""What drift and the learning of turns do when they are told of a visit, and what the tick lets them do."""

from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from analytics.alerting import alerts_raise, appliance_alerts_raise
from analytics.claiming import DriftBusy
from analytics.mailing import alerts_mail
from analytics.models import ENGINE_VERSION, DriftDuty, DriftPointer, DriftRun, PriceDuty, TurnDuty
from common.models import OutboxEvent
from visits.models import Adjustment, Visit

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


def moves_told(event: OutboxEvent) -> None:
    """Have the visit's model learnt again where a trim was moved, or may have been before a correction."""
    from analytics.learning import models_moved, turns_ask

    if event.kind == "visits.imported":
        turns_ask(models_moved())
    elif event.kind == "visit.corrected" or Adjustment.objects.filter(visit=event.subject_id).exists():
        turns_ask(set(Visit.objects.filter(pk=event.subject_id).values_list("appliance__model", flat=True)))


def prices_told(event: OutboxEvent) -> None:
    """Have the tick take up the prices as they are now."""
    from analytics.costing.pricing import prices_ask

    prices_ask()


def prices_what_is_owed(now: datetime) -> dict[str, int]:
    """Money follows a price that was stated or changed since."""
    if not PriceDuty.objects.filter(asked__gt=F("answered")).exists():
        return {}
    from analytics.costing.pricing import prices_answer

    return {"burners": prices_answer(_current(), now=timezone.now(), on=timezone.localdate(now))}


def learn_what_is_owed(now: datetime) -> dict[str, int]:
    """Learn the trims of the models whose moves were recorded since."""
    if not TurnDuty.objects.filter(asked__gt=F("answered")).exists():
        return {}
    from analytics.learning import turns_answer

    done = turns_answer(now=now)
    return {"models": done.models, "trims": done.trims, "with_amount": done.with_amount}


def recompute_what_is_owed(now: datetime) -> dict[str, object]:
    """Once a night, and after imports, recompute the fleet: one run for all that is owed."""
    DriftDuty.objects.get_or_create(period=now.date().isoformat(), defaults=_seen_to(now.date()))
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


def _seen_to(night: date) -> dict[str, object]:
    """How a night's duty begins: as done, where this engine has reckoned the fleet of that day already."""
    run = _current()
    if run is None or run.as_of != night or run.engine_version != ENGINE_VERSION:
        return {}
    return {"finished_at": run.finished_at, "run": run}


def visit_alerts(event: OutboxEvent) -> None:
    """What a closed visit shows of its appliance, once the drift work has fitted it again."""
    run = _current()
    if run is not None:
        appliance_alerts_raise(run, event.payload["appliance"], now=timezone.now())


def alerts_what_is_owed(now: datetime) -> dict[str, int]:
    """Look through a run that nobody has looked through, then send what is new."""
    run = _current()
    raised = 0
    if run is not None and run.alerted_at is None:
        with transaction.atomic():
            if DriftRun.objects.filter(pk=run.pk, alerted_at__isnull=True).update(alerted_at=now) == 1:
                raised = alerts_raise(run, now=now)
    return {"raised": raised, "mailed": alerts_mail(now)}


def _current() -> DriftRun | None:
    pointer = DriftPointer.objects.select_related("current").defer("current__kept").filter(only=1).first()
    return pointer.current if pointer else None


def _free(now: datetime) -> Q:
    return Q(finished_at__isnull=True) & (
        Q(started_at__isnull=True) | Q(started_at__lt=now - TAKEN_FOR_DEAD_AFTER)
    )


def _take(pk: int, now: datetime) -> bool:
    return DriftDuty.objects.filter(_free(now), pk=pk).update(started_at=now) == 1
