"""Analyser periods with their bias, and what one of them did to the verdicts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.db.models import Count, QuerySet
from django.db.models.functions import Abs
from django.http import Http404

from analytics.models import DriftRun, PeriodBias
from analytics.selectors import PeriodStory
from analytics.services import current_run
from analytics.verdicts import changed_by_bias
from people.models import User
from visits.models import TestResult, Visit
from web.paging import Page, page_by_id

RECENT = timedelta(days=730)


@dataclass(frozen=True)
class AnalysersPage:
    """What the template draws."""

    run: DriftRun | None
    rows: Sequence[PeriodStory]
    more: bool


def analysers_page(*, user: User, tag: str, every: bool, size: int) -> AnalysersPage:
    """Periods, the largest bias first: those used in the last two years unless all are asked for.

    Two queries.
    """
    run = current_run()
    rows = PeriodBias.objects.visible_to(user).current().select_related("period__analyser")
    if tag:
        rows = rows.filter(period__analyser__tag__icontains=tag)
    if not every and run is not None:
        rows = rows.filter(last_on__gte=run.as_of - RECENT)
    found = list(rows.order_by(Abs("bias_co2_pct").desc(), "pk")[: size + 1])
    return AnalysersPage(run, [PeriodStory(row) for row in found[:size]], len(found) > size)


@dataclass(frozen=True)
class PeriodPage:
    """One period: who used it how often, which tests it put on the other side of a limit, and its visits.

    changed_more: there are more such tests than `changed` holds.
    """

    story: PeriodStory
    users: list[tuple[str, int]]
    changed: Sequence[TestResult]
    changed_more: bool
    visits: Page


def period_page(*, user: User, pk: int, after: str, size: int, changed_most: int) -> PeriodPage:
    """Five queries, however many visits; at most so many of the changed tests."""
    row = (
        PeriodBias.objects.visible_to(user)
        .current()
        .select_related("period__analyser")
        .filter(period=pk)
        .first()
    )
    if row is None:
        raise Http404
    visits = Visit.objects.visible_to(user).closed().filter(analyser_period=pk)
    changed = [] if row.weak else list(changed_tests(pk)[: changed_most + 1])
    return PeriodPage(
        story=PeriodStory(row),
        users=_users(visits),
        changed=changed[:changed_most],
        changed_more=len(changed) > changed_most,
        visits=page_by_id(visits.with_place(), after, size=size),
    )


def changed_tests(period: int) -> "QuerySet[TestResult]":
    """The tests whose side of a limit the period's bias changed, the newest first."""
    rows = changed_by_bias(period=period)
    rows = rows.select_related("test__visit__appliance__plant__site__customer", "test__burner")
    return rows.order_by("-test__visit_id", "test_id")


def _users(visits: "QuerySet[Visit]") -> list[tuple[str, int]]:
    names = ("technician__first_name", "technician__last_name", "technician__username")
    rows = visits.order_by().values_list(*names).annotate(count=Count("pk")).order_by("-count")[:50]
    return [
        (f"{first or ''} {last or ''}".strip() or name or "–", count) for first, last, name, count in rows
    ]
