"""Writes on the record: one verb each."""

from django.db import transaction
from django.utils import timezone

from common.audit import audit
from common.outbox import announce
from common.problems import Problem
from people.models import Licence, User
from people.selectors import licence_gap
from visits.models import Kind, Visit
from visits.saving.many import visits_save
from visits.saving.save import Conditions, Saved, Sender, visit_correct, visit_preview, visit_save

__all__ = [
    "Conditions",
    "Saved",
    "Sender",
    "visit_correct",
    "visit_countersign",
    "visit_preview",
    "visit_save",
    "visits_save",
]


@transaction.atomic
def visit_countersign(*, by: User, visit: Visit) -> None:
    """Sign a visit that waits for a licensed person: from now it counts, and its due date moves.

    Raises Problem `not_waiting` where nothing waits, `licence_…` where the signer's licence does not fit.
    """
    gap = licence_gap(
        Licence.objects.filter(technician__user=by),
        on=timezone.now().astimezone(visit.appliance.plant.site.zone).date(),
        commissioning=visit.kind == Kind.COMMISSIONING,
        fuel=visit.fuel,
        input_gross_kw=visit.appliance.input_gross_kw,
    )
    if gap is not None:
        raise Problem(gap, "Your own licence on file does not cover this work today.", status=403)
    signed = Visit.objects.filter(pk=visit.pk, uncountersigned=True).update(
        uncountersigned=False, countersigned_by=by, countersigned_at=timezone.now()
    )
    if not signed:
        raise Problem("not_waiting", "This visit does not wait for a signature.", status=409)
    visit.refresh_from_db()
    audit(by=by, verb="countersigned", subject=visit)
    announce("visit.corrected", visit.pk, appliance=visit.appliance_id)
