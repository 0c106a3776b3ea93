"""Appliances ranked by how surely one of their trims wanders, with the evidence."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from analytics.models import ApplianceDrift, TrimDrift
from people.models import User


@dataclass(frozen=True)
class Wanderer:
    """One appliance and what is found of its trims, the surest first."""

    drift: ApplianceDrift
    trims: Sequence[TrimDrift]


def wanderers_ranked(*, user: User, flagged_only: bool = True) -> QuerySet[ApplianceDrift]:
    """Appliances of the current run, the surest wanderers first: to narrow and to cut into pages."""
    rows = ApplianceDrift.objects.visible_to(user).current().filter(wander_probability__isnull=False)
    if flagged_only:
        rows = rows.filter(flagged=True)
    return rows.select_related(
        "appliance__plant__site__customer", "appliance__plant__site__gas_area", "appliance__model__maker"
    ).order_by("-wander_probability", "appliance_id")


def with_evidence(rows: Sequence[ApplianceDrift]) -> list[Wanderer]:
    """The rows with their trims: one query more, however many there are."""
    trims = defaultdict(list)
    if rows:
        found = TrimDrift.objects.filter(run=rows[0].run_id, appliance__in=[row.appliance_id for row in rows])
        for trim in found.select_related("burner").order_by("-wander_probability", "burner", "trim"):
            trims[trim.appliance_id].append(trim)
    return [Wanderer(row, trims[row.appliance_id]) for row in rows]


def earlier_visits_proposed(*, user: User) -> QuerySet[ApplianceDrift]:
    """Appliances that should be seen before their annual date, the soonest first."""
    rows = ApplianceDrift.objects.visible_to(user).current().filter(next_visit_by__isnull=False)
    return rows.select_related("appliance__plant__site__customer").order_by("next_visit_by", "pk")
