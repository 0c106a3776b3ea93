"""The fleet's condition for the manager: aggregates over a year, each leading to its visits."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import TruncMonth

from analytics.costing.totals import Total
from analytics.figures import MonthShare, month_share
from analytics.models import TuningCost
from analytics.selectors import fleet_condition, fleet_cost, total_sentence
from analytics.services import current_run
from common.literals import Literal
from fleet.models import Appliance, ApplianceModel, SafetyState
from fleet.units import units_of
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
    before: list[MonthShare]
    verdicts: dict[str, int]
    verdicts_before: dict[str, int]
    states: list[tuple[str, str, int]]
    overdue: str
    by_code: list[tuple[str, str, int]]
    by_model: list[tuple[str, int]]
    workload: Sequence[dict[str, object]]
    cost: Total | None
    cost_sentence: str


def condition_page(*, user: User, filters: Filters, today: date) -> ConditionPage:
    """Five aggregates, the months and the cost, whatever the size of the fleet."""
    before, now = _two_years(user, filters, today)
    appliances = filters.narrow(Appliance.objects.visible_to(user).in_use(), "plant__site")
    asking = Finding.objects.visible_to(user).open().of_severity(Severity.MAKE_SAFE, Severity.ACT)
    findings = filters.narrow(asking, SITE).order_by()
    codes, models = _by_code_and_model(findings)
    overdue = filters.narrow(DueDate.objects.visible_to(user).overdue(today), SITE)
    cost = condition_cost(user=user, filters=filters)
    return ConditionPage(
        months=_shares(now),
        before=_shares(before),
        verdicts=_verdicts(now),
        verdicts_before=_verdicts(before),
        states=_states(appliances),
        overdue=counted(overdue),
        by_code=[(code, str(FINDINGS[code].title) if code in FINDINGS else code, n) for code, n in codes],
        by_model=models,
        workload=_workload(user, today),
        cost=cost,
        cost_sentence=total_sentence(cost, units=units_of(user)) if cost and cost.burners else "",
    )


def condition_cost(*, user: User, filters: Filters) -> Total | None:
    """What being out of tune costs: the fleet as its run summed it, a part of it summed now."""
    rows = filters.narrow(TuningCost.objects.visible_to(user).current(), SITE) if filters.as_query() else None
    return fleet_cost(current_run(), rows)


def condition_months(*, user: User, filters: Filters, today: date) -> list[MonthShare]:
    """The page's months alone, the year before and this one, in order."""
    before, now = _two_years(user, filters, today)
    return [*_shares(before), *_shares(now)]


def _two_years(user: User, filters: Filters, today: date) -> tuple[list["MonthCount"], list["MonthCount"]]:
    counts = month_counts(user, filters, today)
    since, _later = _year(today)
    return [row for row in counts if row.month < since], [row for row in counts if row.month >= since]


def judged_visits(user: User, filters: Filters) -> VisitQuerySet:
    """Closed visits whose condition as found was judged whole: partial ones are not ranked against them."""
    rows = (
        Visit.objects.visible_to(user)
        .closed()
        .filter(health_as_found__isnull=False, health_as_found_full=True)
    )
    return filters.narrow(rows, SITE)


@dataclass(frozen=True)
class MonthCount:
    """A month's visits judged whole, by the word of their verdict as found."""

    month: date
    inside: int
    probably_inside: int
    probably_outside: int
    outside: int


WORDS = ("inside", "probably_inside", "probably_outside", "outside")


def month_counts(user: User, filters: Filters, today: date) -> list[MonthCount]:
    """This year's twelve months and the year's before, up to and with the current month, oldest first.

    Of the whole fleet as the last run counted them; where the address narrows it, or no run has counted, of
    the visits themselves. The current month is always counted anew.
    """
    since, this_month = _year(today)
    first = since.replace(year=since.year - 1)
    if filters.as_query():
        return _counted_live(user, filters, first)
    kept = [
        MonthCount(row.month, row.inside, row.probably_inside, row.probably_outside, row.outside)
        for row in fleet_condition(user=user, since=first)
        if row.judged and row.month < this_month
    ]
    return [*kept, *_counted_live(user, filters, this_month if kept else first)]


def _counted_live(user: User, filters: Filters, first: date) -> list[MonthCount]:
    rows = judged_visits(user, filters).filter(
        opened_at__gte=_midnight(first) - timedelta(days=1), local_on__gte=first
    )
    counted = (
        rows.order_by()
        .annotate(month=TruncMonth("local_on"))
        .values("month")
        .annotate(
            inside=Count("pk", filter=Q(health_as_found__gte=0.95)),
            probably_inside=Count("pk", filter=Q(health_as_found__gte=0.5, health_as_found__lt=0.95)),
            probably_outside=Count("pk", filter=Q(health_as_found__gt=0.05, health_as_found__lt=0.5)),
            outside=Count("pk", filter=Q(health_as_found__lte=0.05)),
        )
        .order_by("month")
    )
    return [MonthCount(**row) for row in counted]


def _shares(rows: Sequence[MonthCount]) -> list[MonthShare]:
    return [
        month_share(
            row.month,
            judged=sum(getattr(row, word) for word in WORDS),
            outside=row.probably_outside + row.outside,
        )
        for row in rows
    ]


def _verdicts(rows: Sequence[MonthCount]) -> dict[str, int]:
    return {word: sum(getattr(row, word) for row in rows) for word in WORDS}


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


def _year(today: date) -> tuple[date, date]:
    """The first days of this month a year ago, and of this month."""
    first = today.replace(day=1)
    return first.replace(year=first.year - 1), first


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _by_code_and_model(findings: "QuerySet[Finding]") -> tuple[list[tuple[str, int]], list[tuple[str, int]]]:
    """Open findings by kind and by model, the most first: one pass, since each counts the same rows.

    The model is looked up for each finding: with the tables joined, PostgreSQL reads every appliance for the
    few that have one.
    """
    model = Subquery(Appliance.objects.filter(pk=OuterRef("appliance")).order_by().values("model")[:1])
    rows = findings.annotate(of_model=model).values_list("code", "of_model").annotate(count=Count("pk"))
    by_code: Counter[str] = Counter()
    by_model: Counter[int] = Counter()
    for code, pk, count in rows:
        by_code[code] += count
        by_model[pk] += count
    top = by_model.most_common(TOP)
    names = ApplianceModel.objects.select_related("maker").in_bulk([pk for pk, _ in top])
    kinds = sorted(by_code.items(), key=lambda item: (-item[1], item[0]))[:TOP]
    return kinds, [(str(names[pk]), count) for pk, count in top]


def _states(appliances: "QuerySet[Appliance]") -> list[tuple[str, str, int]]:
    """Those that are not simply in service: few, and what a manager asks after."""
    states = [(value, words) for value, words in SafetyState.choices if value != SafetyState.IN_SERVICE]
    noted = appliances.filter(safety_state__in=[Literal(value) for value, _ in states])
    counts = dict(noted.order_by().values_list("safety_state").annotate(count=Count("pk")))
    return [(value, str(words), counts.get(value, 0)) for value, words in states]


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
