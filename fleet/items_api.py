"""REST door to what a visit is asked for."""

from datetime import date
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from pydantic import BaseModel
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from common.schema import ProblemDetails
from fleet.items import item_book, items_answer
from fleet.models import Appliance
from fleet.models.items import VISIT_KINDS
from people.permissions import WorksHere


class ItemSetQuery(serializers.Serializer[Any]):
    appliance = serializers.UUIDField(help_text="Whose list.")
    kind = serializers.ChoiceField(choices=VISIT_KINDS, default="annual_service", help_text="Kind of visit.")
    on = serializers.DateField(required=False, help_text="A day at the site; left out: today.")


class ChoiceAnswer(BaseModel):
    """One choice and what it means: good, advise or act."""

    code: str
    text: str
    means: str


class ItemAnswer(BaseModel):
    """One item. Answer it in a visit's `items` by its code."""

    code: str
    step: str
    text: str
    answer: str
    unit: str
    low: float | None
    high: float | None
    choices: list[ChoiceAnswer]
    source: str
    mark: str
    required: bool
    opens: str
    proves_tight: str
    safety_quantity: str
    caution: str


class StepAnswer(BaseModel):
    """One step of the order of work."""

    code: str
    title: str
    caution: str
    items: list[ItemAnswer]


class ItemSetAnswer(BaseModel):
    """The whole list of one visit, in the order of work."""

    appliance: str
    country: str
    kind: str
    on: date
    caution: str
    steps: list[StepAnswer]


class ItemSets(APIView):
    """What a visit is asked for."""

    permission_classes = [WorksHere]

    @extend_schema(
        tags=["fleet"],
        parameters=[ItemSetQuery],
        responses={200: ItemSetAnswer, 400: ProblemDetails, 404: ProblemDetails},
    )
    def get(self, request: Request) -> Response:
        """The items of one appliance for a kind of visit on a day, in the order of work."""
        query = ItemSetQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        asked = query.validated_data
        seen = Appliance.objects.visible_to(request.user).with_place()
        appliance = get_object_or_404(seen, uuid=asked["appliance"])
        on = asked.get("on") or timezone.now().astimezone(appliance.plant.site.zone).date()
        return Response(items_answer(item_book(), appliance, asked["kind"], on))
