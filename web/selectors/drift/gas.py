"""Gas by area and month, and the visits that its shift explains."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from statistics import fmean

from django.db.models import Count, QuerySet
from django.http import Http404

from analytics.models import DriftRun, GasShift
from analytics.services import current_run
from analytics.verdicts import OUTSIDE_AS_READ, explained_by_gas, found_tests
from fleet.models import GasArea
from people.models import User
from visits.models import TestResult

MONTHS_COMPARED = 24
CO2_PER_PCT = 0.098
"""Change of CO2 [vol %] for 1 % of the mixture's richness at 9 % CO2: c (1 + c), c = 0.09 (docs/drift.md)."""
SHOWN = 200


@dataclass(frozen=True)
class AreaLine:
    """An area's newest month, and the month of the last two years that was furthest from its usual."""

    area: GasArea
    newest: GasShift
    largest: GasShift

    @property
    def stands_out(self) -> bool:
        """The largest shift is surely one, though it is the largest of many months: hence 99 %, not 95 %."""
        return abs(self.largest.shift_pct) > 2.58 * self.largest.shift_u_pct


@dataclass(frozen=True)
class Step:
    """The largest change for good that an area's gas shows: from which month, and by how much."""

    month: date
    by_pct: float


@dataclass(frozen=True)
class GasPage:
    """What the template draws. months: of the chosen area, oldest first."""

    run: DriftRun | None
    areas: Sequence[AreaLine]
    chosen: GasArea | None
    months: Sequence[GasShift]

    @property
    def step(self) -> Step | None:
        """Half a year before a month against the half year from it on, where they differ most."""
        return largest_step([(row.month, row.shift_pct) for row in self.months])


def largest_step(months: Sequence[tuple[date, float]], reach: int = 6) -> Step | None:
    """The month at which the means of `reach` months before and from it on differ most; None in a short row.

    months: in order, shift in %.
    """
    values = [shift for _, shift in months]
    steps = [
        Step(months[place][0], fmean(values[place : place + reach]) - fmean(values[place - reach : place]))
        for place in range(reach, len(values) - reach + 1)
    ]
    return max(steps, key=lambda step: abs(step.by_pct), default=None)


def gas_page(*, user: User, area: int | None, tanks: bool) -> GasPage:
    """The areas, the largest shift first, and one of them month by month. Three queries.

    tanks: the LPG tanks, each an area of its own, instead of the networks.
    """
    run = current_run()
    supply = GasArea.Supply.TANK if tanks else GasArea.Supply.NETWORK
    shifts = GasShift.objects.visible_to(user).current().select_related("gas_area")
    first = _months_before(run.as_of, MONTHS_COMPARED) if run else date.min
    lines = _lines(shifts.filter(gas_area__supply=supply, month__gte=first).order_by("month"))
    chosen = area if area is not None else next((line.area.pk for line in lines), None)
    months = list(shifts.filter(gas_area=chosen).order_by("month"))
    return GasPage(run, lines[:SHOWN], months[0].gas_area if months else None, months)


def _lines(rows: "QuerySet[GasShift]") -> list[AreaLine]:
    months: dict[int, list[GasShift]] = defaultdict(list)
    for row in rows:
        months[row.gas_area_id].append(row)
    lines = [
        AreaLine(own[0].gas_area, own[-1], max(own, key=lambda row: abs(row.shift_pct)))
        for own in months.values()
    ]
    return sorted(lines, key=lambda line: (not line.stands_out, -abs(line.largest.shift_pct)))


def _months_before(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    return date(year, month + 1, 1)


@dataclass(frozen=True)
class GasMonthPage:
    """One area's month: its shift, the tests outside as read that it explains, and how many it does not."""

    shift: GasShift
    explained: Sequence[TestResult]
    unexplained: int
    judged: int


def gas_month_page(*, user: User, area: int, month: date) -> GasMonthPage:
    """Three queries."""
    shift = (
        GasShift.objects.visible_to(user)
        .current()
        .select_related("gas_area")
        .filter(gas_area=area, month=month)
        .first()
    )
    if shift is None:
        raise Http404
    later = (month + timedelta(days=32)).replace(day=1)
    tests = found_tests().filter(
        test__visit__appliance__plant__site__gas_area=area,
        test__visit__local_on__gte=month,
        test__visit__local_on__lt=later,
        # The local day lies within a day of the instant: lets the index on the instant be used.
        test__visit__opened_at__gte=_midnight(month) - timedelta(days=1),
        test__visit__opened_at__lt=_midnight(later) + timedelta(days=1),
    )
    explained = explained_by_gas(tests, shift.shift_pct).select_related(
        "test__visit__appliance__plant__site__customer", "test__burner"
    )
    found = list(explained.order_by("-test__visit_id", "test_id")[:SHOWN])
    counts = tests.aggregate(judged=Count("pk"), outside=Count("pk", filter=OUTSIDE_AS_READ))
    return GasMonthPage(shift, found, counts["outside"] - len(found), counts["judged"])


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)
