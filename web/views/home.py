"""The first page after signing in: the one that answers what needs this person now."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from people.models import Role
from people.permissions import role_of
from web.access import EVERYONE, page_for

_FIRST_PAGE = {
    Role.OFFICE: "web:today",
    Role.ADMINISTRATOR: "web:today",
    Role.MANAGER: "web:condition",
    Role.TECHNICIAN: "web:my-day",
    Role.CONTACT: "web:my-sites",
}


@page_for(EVERYONE)
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Send each role to its own first page."""
    return redirect(_FIRST_PAGE[Role(role_of(request.user))])


@page_for(EVERYONE)
@require_safe
def docs(request: HttpRequest) -> HttpResponse:
    """How the pages of the reader's role work."""
    return render(request, "docs.html", {"role": role_of(request.user)})
