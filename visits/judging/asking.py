"""Asking for visits to be judged again."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone

from visits.models import JudgeDuty

SUBJECTS_AT_ONCE = 500


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
            _ask_again(JudgeDuty.objects.filter(pk=duty.pk), wider)
            duty.refresh_from_db()
    return duty


def judgements_ask(cause: JudgeDuty.Cause, subjects: Sequence[object]) -> None:
    """The same for many subjects of one cause, all their visits, in a few queries for each 500."""
    names = [str(subject) for subject in subjects]
    for start in range(0, len(names), SUBJECTS_AT_ONCE):
        some = names[start : start + SUBJECTS_AT_ONCE]
        with transaction.atomic():
            own = JudgeDuty.objects.filter(cause=cause, subject__in=some)
            known = dict(own.select_for_update().order_by("pk").values_list("subject", "pk"))
            _ask_again(JudgeDuty.objects.filter(pk__in=known.values()), None)
            # one that another asks for at this moment begins at the start too
            JudgeDuty.objects.bulk_create(
                (JudgeDuty(cause=cause, subject=name) for name in some if name not in known),
                ignore_conflicts=True,
            )


def _ask_again(duties: QuerySet[JudgeDuty], from_on: date | None) -> None:
    duties.update(
        from_on=from_on,
        asked=F("asked") + 1,
        asked_at=timezone.now(),
        at_opened=None,
        at_visit=None,
        visits=0,
        changed=0,
        finished_at=None,
    )
