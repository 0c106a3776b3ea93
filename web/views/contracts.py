"""Contracts: what was agreed, for which plants."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from web.access import OFFICE, PersonRequest, page_for
from web.paging import ROWS
from web.selectors.contracts import contracts_page


@page_for(OFFICE)
@require_safe
def contracts(request: PersonRequest) -> HttpResponse:
    """Contracts in force by reference, or all of them."""
    everything = request.GET.get("all") == "1"
    after = request.GET.get("after", "").replace("\x00", "")[:80]
    page = contracts_page(
        user=request.user, today=timezone.localdate(), everything=everything, after=after, size=ROWS
    )
    return render(request, "office/contracts.html", {"page": page, "everything": everything})
