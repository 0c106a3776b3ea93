"""Safety states: one appliance's story, and what is off across the fleet."""

from dataclasses import dataclass

from django.db.models import OuterRef, QuerySet, Subquery
from django.http import Http404

from common.literals import Literal
from fleet.models import Appliance, SafetyEvent
from fleet.models.safety import OFF
from people.models import User

EVENTS_SHOWN = 30


@dataclass(frozen=True)
class SafetyPage:
    """An appliance and its newest safety events, newest first."""

    appliance: Appliance
    events: list[SafetyEvent]

    @property
    def last_event(self) -> int:
        """The id of the newest event, 0 where there is none."""
        return self.events[0].pk if self.events else 0

    @property
    def notice(self) -> SafetyEvent | None:
        """The event that a notice can be printed of: the newest, where it left the appliance off."""
        return self.events[0] if self.events and self.events[0].state in OFF else None


def safety_page(*, user: User, pk: int) -> SafetyPage:
    """One appliance's safety states: two queries. Not found where the reader may not see it."""
    appliance = Appliance.objects.visible_to(user).with_place().filter(pk=pk).first()
    if appliance is None:
        raise Http404
    events = SafetyEvent.objects.filter(appliance=appliance).select_related("by").order_by("-pk")
    return SafetyPage(appliance, list(events[:EVENTS_SHOWN]))


def notice_event(*, user: User, pk: int) -> SafetyEvent:
    """The event of a notice; not found where it left nothing off, or the reader may not see it."""
    seen = Appliance.objects.visible_to(user).values("pk")
    rows = SafetyEvent.objects.select_related(
        "by", "appliance__plant__site__customer", "appliance__model__maker"
    )
    event = rows.filter(pk=pk, state__in=OFF, appliance__in=seen).first()
    if event is None:
        raise Http404
    return event


def appliances_off(user: User) -> "QuerySet[Appliance]":
    """Appliances in use that are left off or isolated, and since when, where that is on file.

    Both states are rare: a plan must know that it is them that are asked for.
    """
    newest = SafetyEvent.objects.filter(appliance=OuterRef("pk")).order_by("-pk").values("at")[:1]
    rows = (
        Appliance.objects.visible_to(user).in_use().filter(safety_state__in=[Literal(state) for state in OFF])
    )
    found: QuerySet[Appliance] = rows.with_place().annotate(off_since=Subquery(newest)).order_by("pk")
    return found
