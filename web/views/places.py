"""Customers, sites and plants."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from people.permissions import sees_everything
from web.access import FIRM, PersonRequest, page_for
from web.paging import ROWS
from web.selectors.places import customer_page, customers_page, plant_page, site_page


@page_for(FIRM)
@require_safe
def customers(request: PersonRequest) -> HttpResponse:
    """Customers by name."""
    text = request.GET.get("name", "").replace("\x00", "").strip()[:100]
    after = request.GET.get("after", "").replace("\x00", "")[:200]
    page = customers_page(user=request.user, text=text, after=after, size=ROWS)
    return render(request, "fleet/customers.html", {"page": page, "text": text})


@page_for(FIRM)
@require_safe
def customer(request: PersonRequest, pk: int) -> HttpResponse:
    """One customer: contracts, sites, plants."""
    return render(request, "fleet/customer.html", {"customer": customer_page(user=request.user, pk=pk)})


@page_for(FIRM)
@require_safe
def site(request: PersonRequest, pk: int) -> HttpResponse:
    """One site: address, access, contacts, plants and appliances."""
    return render(request, "fleet/site.html", {"site": site_page(user=request.user, pk=pk)})


@page_for(FIRM)
@require_safe
def plant(request: PersonRequest, pk: int) -> HttpResponse:
    """One boiler room."""
    page = plant_page(user=request.user, pk=pk)
    context = {"page": page, "plant": page.plant, "can_book": sees_everything(request.user)}
    return render(request, "fleet/plant.html", context)
