"""Analysers with channels and periods, technicians with licences: lists the office keeps."""

from django.db.models import Prefetch, Q

from fleet.models import Analyser, AnalyserPeriod
from people.models import Licence, Role, Technician, User
from web.paging import Page

PERIODS = 4
"""So many periods of an analyser are listed, newest first; the older ones only where they are looked for."""


def analysers_page(*, tag: str, after: str, size: int) -> Page:
    """Analysers in use by tag, with channels and periods, newest period first: three queries.

    Of one analyser asked for by its tag every period is given, else the newest few.
    """
    rows = Analyser.objects.filter(retired_on__isnull=True)
    rows = rows.filter(tag__iexact=tag) if tag else rows
    rows = rows.filter(tag__gt=after) if after else rows
    periods = AnalyserPeriod.objects.order_by("-starts_on", "-pk")
    periods = periods if tag else periods[: PERIODS + 1]
    rows = rows.prefetch_related("channels", Prefetch("periods", periods, to_attr="newest_first"))
    found = list(rows.order_by("tag")[: size + 1])
    return Page(found[:size], found[size - 1].tag if len(found) > size else "")


def crew_page(*, named: str, after: str, size: int) -> Page:
    """Active technicians by username, with licences: three queries. `named`: part of a name."""
    licences = Licence.objects.order_by("-ends_on", "pk")
    technicians = Technician.objects.prefetch_related(Prefetch("licences", licences, to_attr="by_end"))
    rows = User.objects.filter(is_active=True, role=Role.TECHNICIAN)
    for word in named.split()[:4]:
        rows = rows.filter(
            Q(first_name__icontains=word) | Q(last_name__icontains=word) | Q(username__icontains=word)
        )
    rows = rows.filter(username__gt=after) if after else rows
    rows = rows.prefetch_related(Prefetch("technician", technicians)).order_by("username")
    found = list(rows[: size + 1])
    return Page(found[:size], found[size - 1].username if len(found) > size else "")
