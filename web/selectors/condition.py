"""The fleet's condition for the manager: aggregates over a year, each leading to its visits."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db.models import Count, Q, QuerySet
from django.db.models.functions import TruncMonth

from analytics.figures import MonthShare, month_share
from fleet.models import Appliance, SafetyState
from people.models import User
from planning.models import DueDate
from visits.judging.catalogue import FINDINGS
from visits.models import Attendance, Finding, Severity, Visit
from visits.querysets import VisitQuerySet
from web.paging import Page, counted, page_by_id
from web.selectors.due import SITE, Filters

MONTHS = 12
TOP = 12
WEEKS_AHEAD = 4
OUT_OF_BAND = Q(health_as_found__lt=0.5)
"""Probably outside or outside: JCGM 106's probability of being inside below one half."""


@dataclass(frozen=True)
class ConditionPage:
    """What the template draws."""

    months: list[MonthShare]
    verdicts: dict[str, int]
    states: list[tuple[str, str, int]]
    overdue: str
    by_code: list[tuple[str, str, int]]
    by_model: list[tuple[str, int]]
    workload: Sequence[dict[str, object]]


def condition_page(*, user: User, filters: Filters, today: date) -> ConditionPage:
    """Seven aggregates, whatever the size of the fleet."""
    visits = judged_visits(user, filters).filter(opened_at__gte=_since(today))
    appliances = filters.narrow(Appliance.objects.visible_to(user).in_use(), "plant__site")
    asking = Finding.objects.visible_to(user).open().filter(severity__in=[Severity.MAKE_SAFE, Severity.ACT])
    findings = filters.narrow(asking, SITE).order_by()
    codes = findings.values_list("code").annotate(count=Count("pk")).order_by("-count", "code")[:TOP]
    models = findings.values_list("appliance__model__maker__name", "appliance__model__name")
    overdue = filters.narrow(DueDate.objects.visible_to(user).overdue(today), SITE)
    return ConditionPage(
        months=months_of(visits),
        verdicts=_verdicts(visits),
        states=_states(appliances),
        overdue=counted(overdue),
        by_code=[(code, str(FINDINGS[code].title) if code in FINDINGS else code, n) for code, n in codes],
        by_model=[
            (f"{maker} {name}", count)
            for maker, name, count in models.annotate(count=Count("pk")).order_by("-count")[:TOP]
        ],
        workload=_workload(user, today),
    )


def judged_visits(user: User, filters: Filters) -> VisitQuerySet:
    """Closed visits whose condition as found was judged whole: partial ones are not ranked against them."""
    rows = (
        Visit.objects.visible_to(user)
        .closed()
        .filter(health_as_found__isnull=False, health_as_found_full=True)
    )
    return filters.narrow(rows, SITE)


def months_of(visits: "QuerySet[Visit]") -> list[MonthShare]:
    """Per month of the day at the site: how many were judged, how many were out of band."""
    rows = (
        visits.order_by()
        .annotate(month=TruncMonth("local_on"))
        .values("month")
        .annotate(judged=Count("pk"), outside=Count("pk", filter=OUT_OF_BAND))
        .order_by("month")
    )
    return [month_share(row["month"], judged=row["judged"], outside=row["outside"]) for row in rows]


def month_visits(*, user: User, filters: Filters, month: date, outside: bool, after: str, size: int) -> Page:
    """The visits behind one month's point."""
    later = (month.replace(day=1) + timedelta(days=32)).replace(day=1)
    rows = judged_visits(user, filters).filter(
        local_on__gte=month.replace(day=1),
        local_on__lt=later,
        # The local day lies within a day of the instant: lets the index on the instant be used.
        opened_at__gte=_midnight(month.replace(day=1)) - timedelta(days=1),
        opened_at__lt=_midnight(later) + timedelta(days=1),
    )
    return page_by_id((rows.filter(OUT_OF_BAND) if outside else rows).with_place(), after, size=size)


def _since(today: date) -> datetime:
    first = today.replace(day=1)
    return _midnight(first.replace(year=first.year - 1))


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _verdicts(visits: "QuerySet[Visit]") -> dict[str, int]:
    return visits.aggregate(
        inside=Count("pk", filter=Q(health_as_found__gte=0.95)),
        probably_inside=Count("pk", filter=Q(health_as_found__gte=0.5, health_as_found__lt=0.95)),
        probably_outside=Count("pk", filter=Q(health_as_found__gt=0.05, health_as_found__lt=0.5)),
        outside=Count("pk", filter=Q(health_as_found__lte=0.05)),
    )


def _states(appliances: "QuerySet[Appliance]") -> list[tuple[str, str, int]]:
    counts = dict(appliances.order_by().values_list("safety_state").annotate(count=Count("pk")))
    return [(value, str(words), counts.get(value, 0)) for value, words in SafetyState.choices]


def _workload(user: User, today: date) -> Sequence[dict[str, object]]:
    rows = (
        Attendance.objects.visible_to(user)
        .standing()
        .filter(
            local_on__gte=today, local_on__lt=today + timedelta(weeks=WEEKS_AHEAD), technician__isnull=False
        )
    )
    names = ("technician__first_name", "technician__last_name", "technician__username")
    return list(
        rows.order_by()
        .values("technician", *names)
        .annotate(booked=Count("pk"), days=Count("local_on", distinct=True))
        .order_by("-booked")[:50]
    )
