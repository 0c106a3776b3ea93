"""The earlier visits that drift proposes, and the office's word on each."""

from datetime import date

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.http import Http404

from analytics.models import ApplianceDrift, TrimDrift
from analytics.selectors import earlier_visits_proposed, trim_sentence
from common.audit import audit
from common.problems import Problem, field_error
from fleet.models import Appliance
from people.models import Units, User
from people.permissions import sees_everything
from planning.models import EarlierVisit
from planning.services import plan_appliances
from visits.models import Visit

EVIDENCE_LENGTH = 600


def earlier_visits_waiting(*, user: User) -> QuerySet[ApplianceDrift]:
    """Proposals not answered since the appliance's last closed visit, the soonest first."""
    later = Visit.objects.closed().filter(
        appliance=OuterRef("appliance"), opened_at__gt=OuterRef("basis_visit__opened_at")
    )
    answered = EarlierVisit.objects.filter(~Exists(later), appliance=OuterRef("appliance"))
    return earlier_visits_proposed(user=user).filter(~Exists(answered))


def earlier_visit_of(*, user: User, appliance: Appliance) -> ApplianceDrift:
    """The proposal that waits for an appliance. Not found where there is none."""
    row = earlier_visits_waiting(user=user).filter(appliance=appliance).first()
    if row is None:
        raise Http404
    return row


def evidence_of(drift: ApplianceDrift, units: str = Units.SI) -> str:
    """Why an earlier visit is proposed, in words: the outlook, and the trims that do it."""
    chances = [f"{chance:.0%} on {date.fromisoformat(day):%d %b %Y}" for day, chance in drift.outside]
    words = [f"Outside an acceptance limit: {', '.join(chances)}."] if chances else []
    trims = TrimDrift.objects.filter(run=drift.run_id, appliance=drift.appliance_id, reason="")
    words += [
        trim_sentence(row, units=units) for row in trims.order_by("-flagged", "-wander_probability")[:2]
    ]
    return " ".join(words)[:EVIDENCE_LENGTH]


@transaction.atomic
def earlier_visit_decide(
    *, by: User, appliance: Appliance, accept: bool, come_by: date | None, reason: str, today: date
) -> EarlierVisit:
    """Accept a proposed earlier visit with a day, which moves the due date, or decline it.

    come_by: today to the annual date; left out: the day proposed, or today where that has passed.   Raises
    Problem `no_earlier_visit`, `earlier_visit_decided`, or `invalid` for the day.
    """
    if not sees_everything(by):
        raise PermissionDenied
    drift = ApplianceDrift.objects.current().filter(appliance=appliance, next_visit_by__isnull=False).first()
    basis = Visit.objects.closed().filter(appliance=appliance).order_by("-opened_at", "-pk").first()
    if drift is None or drift.next_visit_by is None or basis is None:
        raise Problem("no_earlier_visit", f"No earlier visit of {appliance.tag} is proposed.", status=409)
    day = _day(appliance, come_by or max(drift.next_visit_by, today), today) if accept else None
    try:
        with transaction.atomic():
            row = EarlierVisit.objects.create(
                appliance=appliance,
                basis_visit=basis,
                proposed_by=drift.next_visit_by,
                evidence=evidence_of(drift),
                decision=EarlierVisit.Decision.ACCEPTED if accept else EarlierVisit.Decision.DECLINED,
                come_by=day,
                reason=reason,
                decided_by=by,
            )
    except IntegrityError as error:
        detail = f"The earlier visit of {appliance.tag} has been answered already."
        raise Problem("earlier_visit_decided", detail, status=409) from error
    audit(by=by, verb=row.decision, subject=row, reason=reason)
    if accept:
        row.refresh_from_db()
        plan_appliances([appliance.pk], today=today)
    return row


def _day(appliance: Appliance, day: date, today: date) -> date:
    due_on = appliance.next_due_on
    if today <= day and (due_on is None or day < due_on):
        return day
    limit = f"from {today:%d %b %Y}" + (f", before the annual date {due_on:%d %b %Y}" if due_on else "")
    detail = f"come_by is {day:%d %b %Y}; it must lie {limit}."
    raise Problem(
        "invalid", detail, errors=[field_error("/come_by", "out_of_range", detail, value=day.isoformat())]
    )
