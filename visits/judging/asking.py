"""Asking for visits to be judged again."""

from datetime import date

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from visits.models import JudgeDuty


def judgement_ask(cause: JudgeDuty.Cause, subject: object, *, from_on: date | None = None) -> JudgeDuty:
    """Ask for the visits of one cause to be judged again; asked before they are all done, from the start."""
    with transaction.atomic():
        duty, made = JudgeDuty.objects.get_or_create(
            cause=cause, subject=str(subject), defaults={"from_on": from_on}
        )
        if not made:
            duty = JudgeDuty.objects.select_for_update().get(pk=duty.pk)
            unfinished_from = duty.from_on if duty.finished_at is None else from_on
            wider = None if from_on is None or unfinished_from is None else min(from_on, unfinished_from)
            JudgeDuty.objects.filter(pk=duty.pk).update(
                from_on=wider,
                asked=F("asked") + 1,
                asked_at=timezone.now(),
                at_opened=None,
                at_visit=None,
                visits=0,
                changed=0,
                finished_at=None,
            )
            duty.refresh_from_db()
    return duty
