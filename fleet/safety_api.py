"""REST door to an appliance's safety state, for whoever stands before it."""

import uuid as uuids
from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from pydantic import BaseModel, ConfigDict, Field
from rest_framework.exceptions import NotAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from common.parsing import Moment, PlainText, raw_json
from common.schema import ProblemDetails
from fleet.computing.inputs import parsed
from fleet.models import Appliance, SafetyEvent, SafetyState
from fleet.models.safety import OFF
from fleet.safety import categories_of, safety_state_set
from people.models import User
from people.permissions import WorksHere

CAUTION = (
    "Make safe first, then write. Isolating, labelling and returning to service are for licensed people, by "
    "the maker's instructions, local codes and local procedure. No state declares an appliance safe."
)
EVENTS_SHOWN = 30


class SafetyIn(BaseModel):
    """A safety state that a person put an appliance into."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    key: Annotated[UUID, Field(strict=False, description="The device's own; the same for a retry.")]
    state: Literal[tuple(SafetyState.values)]  # type: ignore[valid-type]
    reason: Annotated[PlainText, Field(min_length=1, max_length=400)]
    told: Annotated[PlainText, Field(max_length=120)] = ""
    answer: Literal["", *SafetyEvent.Answer.values] = ""  # type: ignore[valid-type]
    category: Annotated[PlainText, Field(max_length=40)] = ""
    at: Moment | None = None
    last_event: Annotated[int, Field(ge=0, le=2**62)] | None = None


class SafetyEventAnswer(BaseModel):
    """One change of the state. `notice` is the page to print and leave there, where it is off."""

    id: int
    key: str | None
    state: str
    state_name: str
    category: str
    category_name: str
    reason: str
    at: datetime
    noted_at: datetime
    by: str | None
    told: str
    answer: str
    visit: str | None
    notice: str | None


class CategoryAnswer(BaseModel):
    """A word of the country's trade, and the state that usually goes with it."""

    code: str
    name: str
    state: str
    source: str
    mark: str


class SafetyAnswer(BaseModel):
    """The state as it stands, what led to it (newest first), and the words to choose from."""

    appliance: str
    state: str
    last_event: int
    caution: str
    events: list[SafetyEventAnswer]
    categories: list[CategoryAnswer]


class Safety(APIView):
    """An appliance's safety state."""

    permission_classes = [WorksHere]

    @extend_schema(tags=["fleet"], responses={200: SafetyAnswer, 404: ProblemDetails})
    def get(self, request: Request, uuid: uuids.UUID) -> Response:
        """The state, its newest events, and the categories of the country."""
        appliance = _appliance(request, uuid)
        events = SafetyEvent.objects.filter(appliance=appliance).select_related("by").order_by("-pk")
        rows = [event_answer(event) for event in events[:EVENTS_SHOWN]]
        return Response(
            {
                "appliance": str(appliance.uuid),
                "state": appliance.safety_state,
                "last_event": rows[0]["id"] if rows else 0,
                "caution": CAUTION,
                "events": rows,
                "categories": [
                    {name: getattr(row, name) for name in ("code", "name", "state", "source", "mark")}
                    for row in categories_of(appliance.plant.site.customer.country)
                ],
            }
        )

    @extend_schema(
        tags=["fleet"],
        request=SafetyIn,
        responses={
            200: SafetyEventAnswer,
            201: SafetyEventAnswer,
            400: ProblemDetails,
            403: ProblemDetails,
            404: ProblemDetails,
            409: ProblemDetails,
            415: ProblemDetails,
        },
    )
    def post(self, request: Request, uuid: uuids.UUID) -> Response:
        """Note that it was left off, isolated and labelled, returned to service or left with advice.

        Leaving off and isolating need no `last_event`; anything else does, so that nobody returns to service
        what they have not seen left off. The office is told at once of what is off. A device's clock that is
        ahead counts as now. Safe to send again under the same key.
        """
        appliance = _appliance(request, uuid)
        sent: Any = parsed(SafetyIn, raw_json(request))
        known = SafetyEvent.objects.filter(key=sent.key).exists()
        given = sent.model_dump(exclude={"at"})
        at = None if sent.at is None else min(sent.at, timezone.now())
        event = safety_state_set(by=_person(request), appliance=appliance, at=at, **given)
        return Response(event_answer(event), status=200 if known else 201)


def event_answer(event: SafetyEvent) -> dict[str, Any]:
    """One event as it is answered."""
    # The page's address, by name: the notice is a page to print, and nothing of it is imported here.
    notice = reverse("web:safety-notice", args=[event.pk]) if event.state in OFF else None
    return {
        "id": event.pk,
        "key": str(event.key) if event.key else None,
        "state": event.state,
        "state_name": str(event.get_state_display()),
        "category": event.category,
        "category_name": event.category_name,
        "reason": event.reason,
        "at": event.at.isoformat(),
        "noted_at": event.noted_at.isoformat(),
        "by": str(event.by) if event.by else None,
        "told": event.told,
        "answer": event.answer,
        "visit": str(event.visit_uuid) if event.visit_uuid else None,
        "notice": notice,
    }


def _person(request: Request) -> User:
    if not isinstance(request.user, User):
        raise NotAuthenticated
    return request.user


def _appliance(request: Request, uuid: uuids.UUID) -> Appliance:
    rows = Appliance.objects.visible_to(request.user).with_place()
    found: Appliance = get_object_or_404(rows, uuid=uuid)
    return found
