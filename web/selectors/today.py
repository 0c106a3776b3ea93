"""What the office must decide today: queues, each with its first rows and how many there are."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Exists, OuterRef

from analytics.selectors import alert_sentence, alerts
from common.literals import Literal
from fleet.models import AnalyserPeriod
from people.models import Licence, User
from people.selectors import licences_ending
from planning.earlier import earlier_visits_waiting
from planning.models import DueDate, FollowUp
from visits.models import Finding, Severity
from web.paging import counted, first_of
from web.selectors.safety import appliances_off

FIRST = 8
SOON = timedelta(days=60)


@dataclass(frozen=True)
class Queue:
    """Some rows, and how many there are in all."""

    rows: Sequence[Any]
    count: str


@dataclass(frozen=True)
class Today:
    """Everything that waits."""

    make_safe: Queue
    off: Queue
    overdue: Queue
    due: Queue
    follow_ups: Queue
    uncountersigned: Queue
    not_put_back: Queue
    findings: Queue
    alerts: list[str]
    alert_count: str
    earlier: Queue
    licences: Sequence[Licence]
    calibrations: Sequence[AnalyserPeriod]


def today_page(*, user: User, today: date) -> Today:
    """Two or three queries a queue, one for licences and one for calibrations."""
    told = alerts(user=user)
    findings = Finding.objects.visible_to(user).open()
    dates = DueDate.objects.visible_to(user).dated()
    follow_ups = FollowUp.objects.visible_to(user).open()
    earlier = earlier_visits_waiting(user=user)
    waiting = FollowUp.Cause.UNCOUNTERSIGNED
    return Today(
        make_safe=_findings(findings.of_severity(Severity.MAKE_SAFE)),
        off=_queue(appliances_off(user)),
        overdue=_queue(dates.overdue(today).with_place().order_by("window_to", "pk")),
        due=_queue(dates.due(today).with_place().order_by("due_on", "pk")),
        follow_ups=_queue(_placed(follow_ups.exclude(cause=waiting))),
        uncountersigned=_queue(_placed(follow_ups.filter(cause=waiting))),
        not_put_back=_findings(findings.filter(code=Literal("not_put_back"))),
        findings=_findings(findings.of_severity(Severity.ACT).exclude(code="not_put_back")),
        alerts=[alert_sentence(row) for row in told[:FIRST]],
        alert_count=counted(told),
        earlier=Queue(first_of(earlier, FIRST), counted(earlier)),
        licences=list(licences_ending(today + SOON))[:FIRST],
        calibrations=calibrations_ending(today + SOON),
    )


def calibrations_ending(before: date) -> list[AnalyserPeriod]:
    """Analysers in use whose newest period's calibration runs out by that day, soonest first."""
    newer = AnalyserPeriod.objects.filter(analyser=OuterRef("analyser"), starts_on__gt=OuterRef("starts_on"))
    rows = AnalyserPeriod.objects.filter(
        ~Exists(newer), calibration_due_on__lte=before, analyser__retired_on__isnull=True
    )
    return list(rows.select_related("analyser").order_by("calibration_due_on", "pk")[:FIRST])


def _placed(rows: Any) -> Any:
    return rows.with_place().select_related("visit__technician").order_by("pk")


def _findings(rows: Any) -> Queue:
    return _queue(rows.select_related("visit", "appliance__plant__site__customer").order_by("-pk"))


def _queue(rows: Any) -> Queue:
    return Queue(list(rows[:FIRST]), counted(rows))
