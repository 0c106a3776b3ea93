"""Analysers and technicians, as the office keeps them."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from web.access import OFFICE, PersonRequest, page_for
from web.selectors.kit import PERIODS, analysers_page, crew_page

ROWS = 15
"""Each row is a paragraph or two here: fewer of them than in a table."""


@page_for(OFFICE)
@require_safe
def kit(request: PersonRequest) -> HttpResponse:
    """Analysers in use: channels, newest periods, when each calibration ends; or one with every period."""
    tag = _asked(request, "tag")
    page = analysers_page(tag=tag, after=_asked(request, "after"), size=ROWS)
    context = {"page": page, "tag": tag, "most_periods": PERIODS, "today": timezone.localdate()}
    return render(request, "office/kit.html", context)


@page_for(OFFICE)
@require_safe
def crew(request: PersonRequest) -> HttpResponse:
    """Technicians: hours, absences, licences."""
    named = _asked(request, "name")
    page = crew_page(named=named, after=_asked(request, "after"), size=ROWS)
    return render(request, "office/crew.html", {"page": page, "named": named, "today": timezone.localdate()})


def _asked(request: PersonRequest, key: str) -> str:
    return request.GET.get(key, "").replace("\x00", "").strip()[:80]
