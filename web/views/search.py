"""The finder: one line of text, everything that holds it."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from web.access import FIRM, PersonRequest, page_for
from web.selectors.search import LEAST_LETTERS, search

LONGEST = 100


@page_for(FIRM)
@require_safe
def find(request: PersonRequest) -> HttpResponse:
    """Customers, sites, plants and appliances that hold the text; as one types where there is JavaScript."""
    text = request.GET.get("q", "").replace("\x00", "").strip()[:LONGEST]
    found = search(user=request.user, text=text)
    context = {"finder_text": text, "found": found, "too_short": len(text) < LEAST_LETTERS}
    template = "fleet/search-found.html" if request.htmx else "fleet/search.html"
    return render(request, template, context)
