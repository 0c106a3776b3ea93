"""Analysers and technicians, as the office keeps them."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from web.access import OFFICE, PersonRequest, page_for
from web.paging import ROWS
from web.selectors.kit import analysers_page
from web.selectors.kit import crew as crew_rows


@page_for(OFFICE)
@require_safe
def kit(request: PersonRequest) -> HttpResponse:
    """Analysers in use: channels, periods, when each calibration ends."""
    after = request.GET.get("after", "").replace("\x00", "")[:80]
    page = analysers_page(after=after, size=ROWS)
    return render(request, "office/kit.html", {"page": page, "today": timezone.localdate()})


@page_for(OFFICE)
@require_safe
def crew(request: PersonRequest) -> HttpResponse:
    """Technicians: hours, absences, licences."""
    return render(request, "office/crew.html", {"people": crew_rows(), "today": timezone.localdate()})
