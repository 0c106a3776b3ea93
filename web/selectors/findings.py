"""The remedial list: what stands open, gravest kinds by choice, newest first."""

from dataclasses import dataclass

from django.db.models import QuerySet
from django.http import Http404

from common.literals import Literal
from people.models import User
from visits.judging.catalogue import FINDINGS
from visits.models import Finding, FindingLife, Life, Severity
from web.paging import Page, counted, page_by_id

ASKS_FOR_WORK = (Severity.MAKE_SAFE, Severity.ACT)


@dataclass(frozen=True)
class FindingFilters:
    """What the address asks for; empty means what asks for work."""

    severity: str = ""
    code: str = ""
    life: str = ""


@dataclass(frozen=True)
class FindingPage:
    """A finding with every step of its life, oldest first."""

    finding: Finding
    steps: list[FindingLife]

    @property
    def last_step(self) -> int:
        """The id of the newest step, 0 where none was taken."""
        return self.steps[-1].pk if self.steps else 0


def finding_page(*, user: User, pk: int) -> FindingPage:
    """One finding and its life: two queries. Not found where the reader may not see it."""
    rows = Finding.objects.visible_to(user).select_related(
        "visit",
        "appliance__plant__site__customer",
        "appliance__model__maker",
        "burner",
        "owner",
        "done_on_visit__appliance",
    )
    finding = rows.filter(pk=pk).first()
    if finding is None:
        raise Http404
    steps = finding.steps.select_related("by", "owner", "visit").order_by("pk")
    return FindingPage(finding, list(steps))


def findings_page(*, user: User, filters: FindingFilters, after: str, size: int) -> Page:
    """Open findings with their place and visit."""
    rows = open_findings(user, filters).select_related(
        "visit", "appliance__plant__site__customer", "appliance__model__maker", "burner", "owner"
    )
    return page_by_id(rows, after, size=size)


def open_findings(user: User, filters: FindingFilters) -> "QuerySet[Finding]":
    """Findings of closed and open visits alike, narrowed: those that stand, unless one life is asked for."""
    rows = Finding.objects.visible_to(user)
    rows = rows.filter(holds=True, life=Literal(filters.life)) if filters.life in Life.values else rows.open()
    if filters.severity in Severity.values:
        rows = rows.of_severity(filters.severity)
    elif not filters.code:
        rows = rows.of_severity(*ASKS_FOR_WORK)
    return rows.filter(code=Literal(filters.code)) if filters.code in FINDINGS else rows


def counts_by_severity(user: User) -> list[tuple[str, str, str]]:
    """Per severity: its value, its word, how many stand open."""
    return [
        (str(value), str(word), counted(open_findings(user, FindingFilters(severity=value))))
        for value, word in Severity.choices
    ]
