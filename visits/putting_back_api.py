"""REST door to what a test usually alters."""

import uuid
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

from fleet.models import Appliance
from people.permissions import WorksHere
from visits.putting_back import CAUTION, suggestions
from visits.schema import PROBLEM


class OnQuery(serializers.Serializer[Any]):
    on = serializers.DateField(required=False, help_text="A day at the site; left out: today.")


class SuggestionAnswer(BaseModel):
    """A row of a visit's `temporary_changes` to be confirmed, with its unit, caution and source."""

    key: str
    code: str
    unit: str
    what: str
    was: str
    set_to: str
    caution: str
    source: str
    mark: str


class SuggestionsAnswer(BaseModel):
    """What a test of one appliance on a day usually alters."""

    appliance: str
    on: date
    caution: str
    suggestions: list[SuggestionAnswer]


class PutBackSuggestions(APIView):
    """What is to be put back after a test."""

    permission_classes = [WorksHere]

    @extend_schema(
        tags=["visits"],
        parameters=[OnQuery],
        responses={200: SuggestionsAnswer, 400: PROBLEM, 404: PROBLEM},
    )
    def get(self, request: Request, uuid: uuid.UUID) -> Response:
        """Settings that a test usually alters, by model, sequencing and season, to be confirmed."""
        query = OnQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        appliance = get_object_or_404(Appliance.objects.visible_to(request.user).with_place(), uuid=uuid)
        today = timezone.now().astimezone(appliance.plant.site.zone).date()
        on = query.validated_data.get("on") or today
        rows = suggestions(appliance, on)
        answer = {"appliance": str(appliance.uuid), "on": on.isoformat()}
        return Response(answer | {"caution": CAUTION, "suggestions": rows})
