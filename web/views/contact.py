"""The customer's contact: their own sites, in plain words."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from people.models import Role
from web.access import PersonRequest, page_for
from web.selectors.contact import contact_sites


@page_for(frozenset({Role.CONTACT}))
@require_safe
def my_sites(request: PersonRequest) -> HttpResponse:
    """Sites, what stands in them, when somebody comes next, and what was found last."""
    return render(request, "contact/my-sites.html", {"sites": contact_sites(user=request.user)})
