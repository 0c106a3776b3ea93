"""Customers, their sites and plants, each with what stands below it."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Count, OuterRef, Prefetch, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.http import Http404

from fleet.models import Appliance, Contract, Customer, Plant, Site, SiteContact
from people.models import User
from visits.models import Attendance, Finding
from web.paging import Page


@dataclass(frozen=True)
class PlantPage:
    """A plant with its appliances, contracts, who comes, and what was left changed on it."""

    plant: Plant
    appliances: list[Appliance]
    contracts: list[Contract]
    attendances: list[Attendance]
    left_changed: list[Finding]


def customers_page(*, user: User, text: str, after: str, size: int) -> Page:
    """Customers in use by name, with the number of their sites in use."""
    rows = Customer.objects.visible_to(user).filter(retired_on__isnull=True)
    rows = rows.filter(name__icontains=text) if text else rows
    if after:
        rows = rows.filter(name__gt=after)
    # counted per customer shown: grouping the join would count every customer's first
    sites = Site.objects.filter(customer=OuterRef("pk"), retired_on__isnull=True).order_by()
    in_use = Subquery(sites.values("customer").annotate(n=Count("pk")).values("n"))
    found = list(rows.order_by("name").annotate(sites_in_use=Coalesce(in_use, 0))[: size + 1])
    return Page(found[:size], found[size - 1].name if len(found) > size else "")


def customer_page(*, user: User, pk: int) -> Customer:
    """A customer with contracts and sites, each site with its plants."""
    sites = Site.objects.visible_to(user).select_related("gas_area").prefetch_related("plants")
    rows = Customer.objects.visible_to(user).prefetch_related(
        Prefetch("sites", sites, to_attr="seen_sites"), "contracts__plants"
    )
    customer: Customer = _one(rows, pk)
    return customer


def site_page(*, user: User, pk: int) -> Site:
    """A site with its contacts, and its plants with their appliances."""
    rows = Site.objects.visible_to(user).select_related("customer", "gas_area")
    appliances = Appliance.objects.select_related("model__maker").order_by("tag")
    site: Site = _one(
        rows.prefetch_related(
            Prefetch("plants__appliances", appliances, to_attr="in_order"),
            Prefetch("contacts", SiteContact.objects.select_related("user")),
        ),
        pk,
    )
    return site


def plant_page(*, user: User, pk: int) -> PlantPage:
    """A plant as it is met in the boiler room."""
    plant = _one(Plant.objects.visible_to(user).select_related("site__customer", "site__gas_area"), pk)
    return PlantPage(
        plant=plant,
        appliances=list(
            plant.appliances.select_related("model__maker").prefetch_related("burners").order_by("tag")
        ),
        contracts=list(plant.contracts.all()),
        attendances=list(
            plant.attendances.standing().select_related("technician").order_by("-local_on", "-pk")[:10]
        ),
        left_changed=list(
            Finding.objects.visible_to(user)
            .open()
            .filter(appliance__plant=plant, code__in=("not_put_back", "plant_setting_changed"))
            .select_related("visit", "burner", "appliance")
            .order_by("-pk")[:20]
        ),
    )


def _one(rows: "QuerySet[Any]", pk: int) -> Any:
    found = rows.filter(pk=pk).first()
    if found is None:
        raise Http404
    return found
