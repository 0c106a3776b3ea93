"""Writes of planning: due dates and follow-ups, one chunk of appliances at a time."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import OuterRef, Subquery
from django.utils import timezone

from common.audit import audit
from common.problems import Problem
from fleet.models import Appliance
from people.models import User
from people.permissions import sees_everything
from planning.models import DueDate, FollowUp
from planning.reckoning import due_dates_of, follow_ups_of, record_of

CHUNK = 2000
DUE_COLUMNS = ["due_on", "window_from", "window_to", "rule", "contract", "basis_visit", "reason", "earlier"]
FOLLOW_UP_COLUMNS = ["cause", "state", "closed_by_visit", "done_by", "done_at", "note"]


@dataclass(frozen=True)
class Planned:
    """How many appliances were looked at, and how many of them changed their date or their follow-ups."""

    seen: int
    changed: int


@transaction.atomic
def plan_appliances(appliance_ids: Sequence[int], *, today: date, dry_run: bool = False) -> Planned:
    """Work out these appliances' due dates and follow-ups again and write what changed.

    A fixed number of reads whatever the number of appliances; nothing is written where nothing changed.
    """
    if not dry_run:
        _hold(appliance_ids)
    record = record_of(appliance_ids, today)
    dates, follow_ups = due_dates_of(record, today), follow_ups_of(record)
    changed = {row.appliance_id for row in dates} | {row.appliance_id for row in follow_ups}
    if changed and not dry_run:
        _write_dates(dates)
        _write_follow_ups(follow_ups)
    return Planned(len(record.appliances), len(changed))


def fleet_plan(
    *, today: date, dry_run: bool = False, progress: Callable[[int], object] = lambda seen: None
) -> Planned:
    """The same for every appliance, in transactions of some thousands; safe to break off and run again."""
    seen = changed = last = 0
    while ids := list(
        Appliance.objects.filter(pk__gt=last).order_by("pk").values_list("pk", flat=True)[:CHUNK]
    ):
        planned = plan_appliances(ids, today=today, dry_run=dry_run)
        seen, changed, last = seen + planned.seen, changed + planned.changed, ids[-1]
        progress(planned.seen)
    return Planned(seen, changed)


@transaction.atomic
def follow_up_close(*, by: User, follow_up: FollowUp, note: str) -> FollowUp:
    """The office has seen to it otherwise than by a visit, and says how."""
    if not sees_everything(by):
        raise PermissionDenied
    done = FollowUp.objects.filter(pk=follow_up.pk, state=FollowUp.State.OPEN).update(
        state=FollowUp.State.DONE, done_by=by, done_at=timezone.now(), note=note
    )
    if done != 1:
        raise Problem("follow_up_not_open", "This follow-up is no longer open.", status=409)
    audit(by=by, verb="closed", subject=follow_up, note=note)
    follow_up.refresh_from_db()
    return follow_up


def _hold(appliance_ids: Sequence[int]) -> None:
    """Let one planner at a time at these appliances, so that an older reading never overwrites a newer one.

    Held before the record is read, and weakly enough not to keep anyone from storing a visit.
    """
    held = Appliance.objects.select_for_update(no_key=True).filter(pk__in=appliance_ids)
    list(held.order_by("pk").values_list("pk", flat=True))


def _write_dates(dates: Sequence[DueDate]) -> None:
    DueDate.objects.bulk_create(
        dates, update_conflicts=True, unique_fields=["appliance"], update_fields=DUE_COLUMNS
    )
    planned = DueDate.objects.filter(appliance=OuterRef("pk")).values("due_on")
    Appliance.objects.filter(pk__in=[row.appliance_id for row in dates]).update(next_due_on=Subquery(planned))


def _write_follow_ups(follow_ups: Sequence[FollowUp]) -> None:
    FollowUp.objects.bulk_create(
        follow_ups, update_conflicts=True, unique_fields=["visit"], update_fields=FOLLOW_UP_COLUMNS
    )
