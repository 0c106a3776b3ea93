"""The remedial list: what stands open, gravest kinds by choice, newest first."""

from dataclasses import dataclass

from django.db.models import QuerySet

from people.models import User
from visits.judging.catalogue import FINDINGS
from visits.models import Finding, Severity
from web.paging import Page, counted, page_by_id

ASKS_FOR_WORK = (Severity.MAKE_SAFE, Severity.ACT)


@dataclass(frozen=True)
class FindingFilters:
    """What the address asks for; empty means what asks for work."""

    severity: str = ""
    code: str = ""


def findings_page(*, user: User, filters: FindingFilters, after: str, size: int) -> Page:
    """Open findings with their place and visit."""
    rows = open_findings(user, filters).select_related(
        "visit", "appliance__plant__site__customer", "appliance__model__maker", "burner"
    )
    return page_by_id(rows, after, size=size)


def open_findings(user: User, filters: FindingFilters) -> "QuerySet[Finding]":
    """Open findings of closed and open visits alike, narrowed."""
    rows = Finding.objects.visible_to(user).open()
    if filters.severity in Severity.values:
        rows = rows.filter(severity=filters.severity)
    elif not filters.code:
        rows = rows.filter(severity__in=ASKS_FOR_WORK)
    return rows.filter(code=filters.code) if filters.code in FINDINGS else rows


def counts_by_severity(user: User) -> list[tuple[str, str, str]]:
    """Per severity: its value, its word, how many stand open."""
    return [
        (str(value), str(word), counted(open_findings(user, FindingFilters(severity=value))))
        for value, word in Severity.choices
    ]
