"""Which visits are owed another judgement, asked for by cause and worked off by the tick."""

import math
import time
from collections.abc import Callable
from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from visits.judging.again import VISITS_A_TRANSACTION, visits_judge_again
from visits.judging.engine import ENGINE_VERSION
from visits.models import JudgeDuty, TestResult, Visit

VISITS_AT_ONCE = 2_000
VisitRows = QuerySet[Visit]

Progress = Callable[[int], object]
"""Told how many more visits are judged."""


def engine_ask() -> None:
    """Ask for all visits that an earlier engine judged. The results are searched once per version."""
    known = {"cause": JudgeDuty.Cause.ENGINE, "subject": str(ENGINE_VERSION)}
    if not JudgeDuty.objects.filter(**known).exists():
        owed = TestResult.objects.filter(engine_version__lt=ENGINE_VERSION).exists()
        done = None if owed else timezone.now()
        JudgeDuty.objects.get_or_create(**known, defaults={"finished_at": done})


def duties_work(
    *, most: int = VISITS_AT_ONCE, seconds: float = math.inf, progress: Progress = lambda visits: None
) -> dict[str, int]:
    """Judge up to `most` visits that are owed, duty by duty, and begin no transaction after `seconds`.

    Harmless twice, late and side by side.
    """
    done = changed = 0
    until = time.monotonic() + seconds
    for duty in JudgeDuty.objects.filter(finished_at__isnull=True).order_by("asked_at", "pk"):
        while done < most and duty.finished_at is None and (not done or time.monotonic() < until):
            ids = _next_visits(duty, min(VISITS_A_TRANSACTION, most - done))
            told = len(visits_judge_again([pk for pk, _ in ids], cause=JudgeDuty.Cause(duty.cause)))
            done, changed = done + len(ids), changed + told
            progress(len(ids))
            if not _noted(duty, ids, told):
                break  # asked anew meanwhile: the next round begins from the start
    return {"judged": done, "changed": changed} if done else {}


def _next_visits(duty: JudgeDuty, most: int) -> list[tuple[int, datetime]]:
    """The next visits of a duty, newest first, as id and time."""
    rows = duty_visits(duty)
    if duty.at_opened is not None:
        rows = rows.filter(
            Q(opened_at__lt=duty.at_opened) | Q(opened_at=duty.at_opened, pk__lt=duty.at_visit)
        )
    return list(rows.order_by("-opened_at", "-pk").values_list("pk", "opened_at")[:most])


def _noted(duty: JudgeDuty, ids: list[tuple[int, datetime]], told: int) -> bool:
    """Move the duty's mark on; false where it was asked anew meanwhile."""
    if ids:
        duty.at_visit, duty.at_opened = ids[-1]
    else:
        duty.finished_at = timezone.now()
    duty.visits, duty.changed = duty.visits + len(ids), duty.changed + told
    moved = JudgeDuty.objects.filter(pk=duty.pk, asked=duty.asked).update(
        at_visit=duty.at_visit,
        at_opened=duty.at_opened,
        finished_at=duty.finished_at,
        visits=duty.visits,
        changed=duty.changed,
    )
    return moved == 1


def duty_visits(duty: JudgeDuty) -> VisitRows:
    """The visits that a duty speaks of."""
    rows = _OF_CAUSE[JudgeDuty.Cause(duty.cause)](duty.subject)
    return rows if duty.from_on is None else rows.filter(local_on__gte=duty.from_on)


def _of_engine(subject: str) -> VisitRows:
    judged = TestResult.objects.filter(test__visit=OuterRef("pk"), engine_version=int(subject))
    return Visit.objects.filter(~Exists(judged))


def _of_limits(subject: str) -> VisitRows:
    country, _, customer = subject.partition(":")
    rows = Visit.objects.all()
    if customer:
        rows = rows.filter(appliance__plant__site__customer=int(customer))
    return rows.filter(appliance__plant__site__customer__country=country) if country else rows


def _of_gas(subject: str) -> VisitRows:
    place, _, pk = subject.partition(":")
    path = "appliance__plant__site" if place == "site" else "appliance__plant__site__gas_area"
    return Visit.objects.filter(**{path: int(pk)})


_OF_CAUSE: dict[JudgeDuty.Cause, Callable[[str], VisitRows]] = {
    JudgeDuty.Cause.BIAS: lambda period: Visit.objects.filter(analyser_period=int(period)),
    JudgeDuty.Cause.ENGINE: _of_engine,
    JudgeDuty.Cause.SPECS: lambda model: Visit.objects.filter(appliance__model=int(model)),
    JudgeDuty.Cause.LIMITS: _of_limits,
    JudgeDuty.Cause.GAS: _of_gas,
    JudgeDuty.Cause.ASKED: lambda _: Visit.objects.all(),
}
