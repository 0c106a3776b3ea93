"""The office's first page: what needs deciding today."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from web.access import OFFICE, PersonRequest, page_for
from web.selectors.today import today_page


@page_for(OFFICE)
@require_safe
def today(request: PersonRequest) -> HttpResponse:
    """Queues by how much they press: make safe, overdue, to sign, to follow up, to put back, to renew."""
    day = timezone.localdate()
    return render(
        request, "office/today.html", {"queues": today_page(user=request.user, today=day), "today": day}
    )
