"""Filters that speak the fleet's words. Every list a person sees begins with `visible_to`."""

from datetime import date
from typing import Any, Self

from django.db import models

from people.permissions import is_contact, works_here


class _Visible(models.QuerySet[Any]):
    """Rows a person may see; `site_path` leads from the row to its site."""

    site_path = ""

    def visible_to(self, user: Any) -> Self:
        """Everything for the firm's people, the linked sites for a contact, nothing for anyone else."""
        if works_here(user):
            return self
        if is_contact(user):
            path = f"{self.site_path}__" if self.site_path else ""
            return self.filter(**{f"{path}contacts__user": user})
        return self.none()


class CustomerQuerySet(_Visible):
    site_path = "sites"

    def visible_to(self, user: Any) -> Self:
        """As for any row; a contact of two sites sees their customer once."""
        seen = super().visible_to(user)
        return seen.distinct() if is_contact(user) else seen


class SiteQuerySet(_Visible):
    pass


class PlantQuerySet(_Visible):
    site_path = "site"


class ApplianceQuerySet(_Visible):
    site_path = "plant__site"

    def in_use(self) -> Self:
        """Not retired, nor is anything above it."""
        return self.filter(
            retired_on__isnull=True,
            plant__retired_on__isnull=True,
            plant__site__retired_on__isnull=True,
            plant__site__customer__retired_on__isnull=True,
        )

    def due_by(self, day: date) -> Self:
        """In use and due on or before the day."""
        return self.in_use().filter(next_due_on__lte=day)

    def with_place(self) -> Self:
        """With plant, site, customer and model joined."""
        return self.select_related("plant__site__customer", "plant__site__gas_area", "model__maker")
