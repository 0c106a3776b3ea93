"""The life of findings: steps that people take, and endings that later visits bring."""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from common.audit import audit
from common.models import OutboxEvent
from common.problems import Problem, field_error
from common.upsert import rewrite
from people.models import User
from visits.judging.catalogue import STAYING
from visits.models import Finding, FindingLife, Life, Outcome, Severity, Visit
from visits.permissions import can_move_finding

ENDED = (Life.DECLINED, Life.DONE)


@transaction.atomic
def finding_move(
    *,
    by: User,
    finding: Finding,
    to: str,
    last_step: int,
    said_by: str = "",
    visit: Visit | None = None,
    owner: User | None = None,
    due_on: date | None = None,
    note: str = "",
) -> FindingLife:
    """Take the next step in a finding's life; the same life again renews its owner, date and note.

    last_step: id of the newest step the mover has seen, 0 for none.   said_by: who spoke for the customer;
    a declined finding needs it.   visit: on which it was done, of the same appliance.   note: needed to end
    a make-safe finding and to open one that had ended.
    Raises Problem `moved_meanwhile`, `withdrawn`, `required` or `other_appliance`; then nothing is written.
    """
    if not can_move_finding(by, to):
        raise PermissionDenied
    held = Finding.objects.select_for_update().get(pk=finding.pk)
    newest = held.steps.order_by("-pk").first()
    if last_step != (newest.pk if newest else 0):
        raise _moved_meanwhile(held, newest)
    if not held.holds:
        raise Problem(
            "withdrawn", "A later judgement withdrew this finding; it asks for nothing.", status=409
        )
    _refuse_unless_complete(held, to, said_by, visit, note)
    step = FindingLife(
        finding=held,
        life=to,
        at=timezone.now(),
        by=by,
        visit=visit,
        said_by=said_by,
        owner=owner,
        due_on=due_on,
        note=note,
    )
    step.full_clean()
    step.save()
    held.life, held.done_on_visit, held.owner, held.due_on = to, visit, owner, due_on
    held.save(update_fields=["life", "done_on_visit", "owner", "due_on"])
    audit(by=by, verb="moved", subject=held, life=to)
    return step


@transaction.atomic
def findings_settle(*appliance_ids: int) -> int:
    """End what later visits of these appliances ended, and open again what they no longer end.

    A later closed visit with outcome completed, countersigned where it had to be, ends the open findings of
    earlier visits. A make-safe finding is ended by a person only; so is what was not put back or not proved
    tight, and what was quoted or accepted: a visit does not show that it was carried out. Returns how many
    changed; four queries, however many appliances.
    """
    rows = Finding.objects.select_for_update(of=("self",)).filter(appliance__in=appliance_ids, holds=True)
    hands = FindingLife.objects.filter(finding=OuterRef("pk"), by__isnull=False)
    rows = rows.annotate(ending=Subquery(_ending_visit()), in_hand=Exists(hands))
    now = timezone.now()
    steps = [*_ended(rows, now), *_opened_again(rows, now)]
    FindingLife.objects.bulk_create(steps)
    rewrite((step.finding for step in steps), model=Finding, fields=["life", "done_on_visit"])
    return len(steps)


def findings_settle_all() -> int:
    """End across the whole fleet in one statement, after an import: the visit is noted, no step is."""
    rows = Finding.objects.annotate(ending=Subquery(_ending_visit())).filter(_ENDED_BY_A_VISIT)
    return rows.update(life=Life.DONE, done_on_visit=Subquery(_ending_visit()))


def event_settle(event: OutboxEvent) -> None:
    """The outbox's door: one appliance after a visit, all of them after an import."""
    if event.kind == "visits.imported":
        findings_settle_all()
        return
    findings_settle(event.payload["appliance"])


_A_PERSONS = Q(severity=Severity.MAKE_SAFE) | (Q(code__in=STAYING) & ~Q(visit__source=Visit.Source.IMPORT))
_ENDED_BY_A_VISIT = Q(holds=True, life=Life.OPEN, ending__isnull=False) & ~_A_PERSONS


def _ending_visit() -> "QuerySet[Visit, Any]":
    """The first visit after the finding's own that ends it."""
    own = Visit.objects.filter(pk=OuterRef(OuterRef("visit"))).values("opened_at")
    later = Visit.objects.closed().filter(
        appliance=OuterRef("appliance"), outcome=Outcome.COMPLETED, uncountersigned=False
    )
    return later.filter(opened_at__gt=Subquery(own)).order_by("opened_at", "pk").values("pk")[:1]


def _ended(rows: "QuerySet[Any]", now: datetime) -> Iterator[FindingLife]:
    for row in rows.filter(_ENDED_BY_A_VISIT):
        row.life, row.done_on_visit_id = Life.DONE, row.ending
        yield _visit_step(row, row.ending, now)


def _opened_again(rows: "QuerySet[Any]", now: datetime) -> Iterator[FindingLife]:
    """Its visit was corrected to another outcome. What people have had in hand is left to them."""
    for row in rows.filter(life=Life.DONE, done_on_visit__isnull=False, ending__isnull=True, in_hand=False):
        visit_id, row.life, row.done_on_visit_id = row.done_on_visit_id, Life.OPEN, None
        yield _visit_step(row, visit_id, now)


def _visit_step(row: Finding, visit_id: int, now: datetime) -> FindingLife:
    return FindingLife(
        finding=row, life=row.life, at=now, visit_id=visit_id, owner_id=row.owner_id, due_on=row.due_on
    )


def _refuse_unless_complete(held: Finding, to: str, said_by: str, visit: Visit | None, note: str) -> None:
    if to == Life.DECLINED and not said_by:
        raise _refused("said_by", "required", "A declined finding names who declined it.")
    if to in ENDED and held.severity == Severity.MAKE_SAFE and not note:
        raise _refused("note", "required", "Ending a make-safe finding needs a word on what was done.")
    if held.life in ENDED and to not in ENDED and not note:
        raise _refused("note", "required", "Opening a finding again needs the reason.")
    if visit is not None and to != Life.DONE:
        raise _refused("visit", "not_done", "A visit is named only where the finding is done on it.")
    if visit is not None and visit.appliance_id != held.appliance_id:
        raise _refused("visit", "other_appliance", "That visit was to another appliance.")


def _refused(field: str, code: str, detail: str) -> Problem:
    return Problem(code, detail, errors=[field_error(f"/{field}", code, detail)])


def _moved_meanwhile(held: Finding, newest: FindingLife | None) -> Problem:
    who = str(newest.by) if newest and newest.by else "a later visit"
    detail = f"Meanwhile {who} set this finding to «{held.get_life_display()}». Look again before you save."
    return Problem("moved_meanwhile", detail, status=409)
