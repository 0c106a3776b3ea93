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
from web.paging import first_keys
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
    """One query a queue, one more for the rows of a table, one for licences and one for calibrations."""
    findings = Finding.objects.visible_to(user).open().order_by("-pk")
    not_put_back = Literal("not_put_back")
    make_safe, left_changed, to_act_on = _queues(
        Finding.objects.select_related("visit", "appliance__plant__site__customer"),
        findings.of_severity(Severity.MAKE_SAFE),
        findings.filter(code=not_put_back),
        findings.of_severity(Severity.ACT).exclude(code=not_put_back),
    )
    dates = DueDate.objects.visible_to(user).dated()
    overdue, due = _queues(
        DueDate.objects.with_place(),
        dates.overdue(today).order_by("window_to", "pk"),
        dates.due(today).order_by("due_on", "pk"),
    )
    follow_ups = FollowUp.objects.visible_to(user).open().order_by("pk")
    uncountersigned = FollowUp.Cause.UNCOUNTERSIGNED
    unfinished, to_sign = _queues(
        FollowUp.objects.with_place().select_related("visit__technician"),
        follow_ups.exclude(cause=uncountersigned),
        follow_ups.filter(cause=uncountersigned),
    )
    off, told, earlier = appliances_off(user), alerts(user=user), earlier_visits_waiting(user=user)
    (left_off,), (alerted,), (proposed,) = _queues(off, off), _queues(told, told), _queues(earlier, earlier)
    return Today(
        make_safe=make_safe,
        off=left_off,
        overdue=overdue,
        due=due,
        follow_ups=unfinished,
        uncountersigned=to_sign,
        not_put_back=left_changed,
        findings=to_act_on,
        alerts=[alert_sentence(row) for row in alerted.rows],
        alert_count=alerted.count,
        earlier=proposed,
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


def _queues(whole: Any, *queues: Any) -> list[Queue]:
    """Queues of one table: the keys and count of each, then the rows of all with what stands beside them."""
    found = [first_keys(rows, FIRST) for rows in queues]
    # nobody has the key 0: the rows are asked for even where there are none, so that it is as often
    rows = whole.in_bulk([0, *(key for keys, _ in found for key in keys)])
    return [Queue([rows[key] for key in keys], count) for keys, count in found]
