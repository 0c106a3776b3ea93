"""Filters that speak the record's words. Every list a person sees begins with `visible_to`."""

from typing import Any, Self

from django.db import models

from common.literals import Literal
from people.permissions import is_contact, works_here


class _Visible(models.QuerySet[Any]):
    """Rows a person may see; `site_path` leads from the row to its site."""

    site_path = ""

    def visible_to(self, user: Any) -> Self:
        """Everything for the firm's people, the linked sites' rows for a contact, nothing for anyone else."""
        if works_here(user):
            return self
        if is_contact(user):
            return self.filter(**{f"{self.site_path}__contacts__user": user})
        return self.none()


class AttendanceQuerySet(_Visible):
    site_path = "plant__site"

    def standing(self) -> Self:
        """Not cancelled."""
        return self.filter(cancelled_at__isnull=True)


class VisitQuerySet(_Visible):
    site_path = "appliance__plant__site"

    def closed(self) -> Self:
        """Closed, with whatever outcome."""
        return self.filter(closed_at__isnull=False)

    def with_place(self) -> Self:
        """With appliance, plant, site, customer, model and technician joined."""
        return self.select_related(
            "appliance__plant__site__customer", "appliance__model__maker", "technician", "analyser"
        )


class FiringTestQuerySet(models.QuerySet[Any]):
    def standing(self) -> Self:
        """Not withdrawn."""
        return self.filter(withdrawn_reason="")

    def for_drift(self) -> Self:
        """Standing tests of closed visits that nothing keeps out of drift."""
        return self.standing().filter(visit__closed_at__isnull=False, kept_out="")


class PhotographQuerySet(_Visible):
    site_path = "visit__appliance__plant__site"

    def stored(self) -> Self:
        """Whole, and to be looked at."""
        return self.filter(state="stored")


class FindingQuerySet(_Visible):
    site_path = "appliance__plant__site"

    def open(self) -> Self:
        """Holding, and neither declined nor done: the remedial list."""
        return self.filter(holds=True, life__in=[Literal(life) for life in ("open", "quoted", "accepted")])

    def of_severity(self, *severities: str) -> Self:
        """Of one of these severities; each is so common or so rare that a plan must know which."""
        return self.filter(severity__in=[Literal(severity) for severity in severities])


class ServiceRecordQuerySet(_Visible):
    site_path = "attendance__plant__site"
