"""The first page after signing in: the one that answers what needs this person now."""

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from people.models import Role
from people.permissions import role_of
from web.access import EVERYONE, PersonRequest, page_for
from web.problem_codes import PROBLEM_CODES

_FIRST_PAGE: dict[str, str] = {
    Role.OFFICE: "web:today",
    Role.ADMINISTRATOR: "web:today",
    Role.MANAGER: "web:condition",
    Role.TECHNICIAN: "web:my-day",
    Role.CONTACT: "web:my-sites",
}


@page_for(EVERYONE)
@require_safe
def home(request: PersonRequest) -> HttpResponse:
    """Send each role to its own first page."""
    return redirect(_FIRST_PAGE[role_of(request.user) or ""])


@page_for(EVERYONE)
@require_safe
def docs(request: PersonRequest) -> HttpResponse:
    """How the pages of the reader's role work."""
    return render(request, "docs.html", {"role": role_of(request.user)})


@page_for(EVERYONE)
@require_safe
def problems(request: PersonRequest) -> HttpResponse:
    """Every code that a refusal over REST can carry; the `type` of each leads here."""
    return render(request, "docs/problems.html", {"codes": PROBLEM_CODES})
