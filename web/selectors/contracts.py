"""Contracts in a list."""

from datetime import date

from django.db.models import Count, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from fleet.models import Contract, Plant
from people.models import User
from people.permissions import works_here
from web.paging import Page


def contracts_page(*, user: User, today: date, everything: bool, after: str, size: int) -> Page:
    """Contracts by reference, each with its plants counted. What was agreed is the firm's business."""
    rows = Contract.objects.all() if works_here(user) else Contract.objects.none()
    if not everything:
        rows = rows.filter(Q(ends_on__isnull=True) | Q(ends_on__gte=today), starts_on__lte=today)
    if after:
        rows = rows.filter(reference__gt=after)
    # counted per contract shown: grouping the join would count every contract first
    plants = Plant.objects.filter(contracts=OuterRef("pk")).order_by()
    counted = Coalesce(Subquery(plants.values("contracts").annotate(n=Count("pk")).values("n")), 0)
    rows = rows.select_related("customer").annotate(plant_count=counted).order_by("reference")
    found = list(rows[: size + 1])
    return Page(found[:size], found[size - 1].reference if len(found) > size else "")
