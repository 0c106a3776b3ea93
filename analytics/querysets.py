"""Filters on what the drift work found. Every list a person sees begins with `visible_to`."""

from typing import Any, Self

from django.db import models
from django.db.models import Subquery

from people.permissions import sees_everything, works_here


class EstimateQuerySet(models.QuerySet[Any]):
    """Rows of a run. What the fleet taught is the firm's own business: a contact sees none of it."""

    def visible_to(self, user: Any) -> Self:
        """All rows for the firm's people, none for anyone else."""
        return self if works_here(user) else self.none()

    def current(self) -> Self:
        """Rows of the run that readers see now, found within the same statement."""
        from analytics.models import DriftPointer

        return self.filter(run_id=Subquery(DriftPointer.objects.values("current_id")[:1]))


class CostQuerySet(EstimateQuerySet):
    """What being out of tune costs, burner by burner."""

    def with_figure(self) -> Self:
        """Those that could be reckoned."""
        return self.filter(lost_kwh__isnull=False)

    def with_place(self) -> Self:
        """With what each belongs to joined."""
        return self.select_related(
            "appliance__plant__site__customer", "appliance__model__maker", "burner", "period__analyser"
        )


class AlertQuerySet(models.QuerySet[Any]):
    """Alerts are for those who plan: the office, the manager, the administrator."""

    def visible_to(self, user: Any) -> Self:
        """All for the office, none for anyone else."""
        return self if sees_everything(user) else self.none()

    def waiting(self) -> Self:
        """Holding, and acknowledged by nobody."""
        return self.filter(holds=True, acknowledged_at__isnull=True)

    def with_subject(self) -> Self:
        """With what each is about joined."""
        return self.select_related(
            "appliance__plant__site__customer", "period__analyser", "gas_area", "acknowledged_by"
        )
