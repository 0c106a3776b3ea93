"""Filters on due dates and follow-ups. Every list a person sees begins with `visible_to`."""

from datetime import date
from typing import Any, Self

from django.db import models

from people.permissions import works_here


class _OfTheFirm(models.QuerySet[Any]):
    """What is planned is the firm's own business: its people see all of it, anyone else nothing."""

    def visible_to(self, user: Any) -> Self:
        return self if works_here(user) else self.none()

    def with_place(self) -> Self:
        """With appliance, plant, site, customer and model joined."""
        return self.select_related("appliance__plant__site__customer", "appliance__model__maker")


class DueDateQuerySet(_OfTheFirm):
    def dated(self) -> Self:
        """Those with a date."""
        return self.filter(due_on__isnull=False)

    def undated(self) -> Self:
        """In use, but without a date: nobody has agreed to look after it."""
        return self.filter(due_on__isnull=True).exclude(reason="retired")

    def overdue(self, today: date) -> Self:
        """The window has closed and nobody has come."""
        return self.filter(window_to__lt=today)

    def due(self, today: date) -> Self:
        """The window is open."""
        return self.filter(window_from__lte=today, window_to__gte=today)

    def upcoming(self, today: date) -> Self:
        """The window has not opened yet."""
        return self.filter(window_from__gt=today)

    def of_status(self, status: str, today: date) -> Self:
        """One of the above by its name."""
        return {
            "dated": self.dated(),
            "undated": self.undated(),
            "overdue": self.overdue(today),
            "due": self.due(today),
            "upcoming": self.upcoming(today),
        }[status]


class FollowUpQuerySet(_OfTheFirm):
    def open(self) -> Self:
        """Waiting for the office."""
        return self.filter(state="open")
