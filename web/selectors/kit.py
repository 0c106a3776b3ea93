"""Analysers with channels and periods, technicians with licences: lists the office keeps."""

from django.db.models import Prefetch, QuerySet

from fleet.models import Analyser, AnalyserPeriod
from people.models import Licence, Role, Technician, User
from web.paging import Page


def analysers_page(*, after: str, size: int) -> Page:
    """Analysers in use by tag, with channels and periods, newest period first: three queries."""
    rows = Analyser.objects.filter(retired_on__isnull=True)
    rows = rows.filter(tag__gt=after) if after else rows
    periods = AnalyserPeriod.objects.order_by("-starts_on", "-pk")
    rows = rows.prefetch_related("channels", Prefetch("periods", periods, to_attr="newest_first"))
    found = list(rows.order_by("tag")[: size + 1])
    return Page(found[:size], found[size - 1].tag if len(found) > size else "")


def crew() -> "QuerySet[User]":
    """Active technicians by name, with licences: three queries."""
    licences = Licence.objects.order_by("-ends_on", "pk")
    technicians = Technician.objects.prefetch_related(Prefetch("licences", licences, to_attr="by_end"))
    rows = User.objects.filter(is_active=True, role=Role.TECHNICIAN)
    return rows.prefetch_related(Prefetch("technician", technicians)).order_by(
        "last_name", "first_name", "pk"
    )
