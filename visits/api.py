"""REST doors to the record."""

import uuid
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from pydantic_core import to_json
from rest_framework import generics
from rest_framework.exceptions import NotAuthenticated
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from common.conditional import conditional_answer
from common.paging import CursorPaging, ListQuery
from common.parsing import raw_json
from common.problems import Problem
from fleet.units import units_asked
from people.models import DeviceToken, Units, User
from people.permissions import SignedIn, WorksHere
from visits.models import Visit
from visits.now import visit_now
from visits.payload import VisitIn
from visits.saving.stored import visit_answer
from visits.schema import PROBLEM, BatchAnswer, BatchIn, CorrectionIn, VisitAnswer, VisitNow
from visits.selectors import visit_revisions
from visits.serializers import VisitLine
from visits.services import (
    Conditions,
    Saved,
    Sender,
    visit_correct,
    visit_countersign,
    visit_save,
    visits_save,
)

CONDITIONS = [
    OpenApiParameter(name, OpenApiTypes.STR, OpenApiParameter.HEADER, description=says)
    for name, says in (
        ("If-Match", "Entity tags of revisions: save only on top of one of these."),
        ("If-None-Match", "`*`: save only where nothing is stored yet."),
    )
]
UNCHANGED = OpenApiResponse(description="It is as the tag says.")


def person_of(request: Request) -> User:
    """The person behind a request that some permission let in."""
    if not isinstance(request.user, User):
        raise NotAuthenticated
    return request.user


def sender_of(request: Request) -> Sender:
    """The person and device behind a request."""
    token = request.auth
    device = f"t{token.pk}" if isinstance(token, DeviceToken) else f"u{request.user.pk}"
    return Sender(person_of(request), device)


def answer(saved: Saved) -> Response:
    """The answer to a save, with its revision as an entity tag."""
    return Response(saved.answer, status=saved.status, headers={"ETag": saved.etag})


def _conditions(request: Request) -> Conditions:
    return Conditions(request.headers.get("If-Match"), request.headers.get("If-None-Match"))


def _json(told: Any) -> bytes:
    raw: bytes = JSONRenderer().render(told)
    return raw


class AnswerRenderer(JSONRenderer):
    """Answers of plain JSON values, as they are kept with the record, by the encoder that packs them.

    JSON has no NaN: where one stood, nothing is known.
    """

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        if data is None or self.get_indent(accepted_media_type, renderer_context or {}) is not None:
            return bytes(super().render(data, accepted_media_type, renderer_context))
        return to_json(data, inf_nan_mode="null", fallback=self.encoder_class().default)


class VisitPaging(CursorPaging):
    """Newest first by the time the visit was opened."""

    ordering = ("-opened_at", "-id")


@extend_schema(tags=["visits"])
class VisitList(generics.ListAPIView[Visit]):
    """Visits, newest first."""

    permission_classes = [SignedIn]
    pagination_class = VisitPaging
    serializer_class = VisitLine
    queryset = Visit.objects.none()

    def get_queryset(self) -> QuerySet[Visit]:
        ListQuery.asked(self.request)
        return Visit.objects.visible_to(self.request.user).with_place().select_related("attendance")


class VisitDetail(APIView):
    """One whole visit."""

    permission_classes = [SignedIn]
    renderer_classes = [AnswerRenderer]

    def get_permissions(self) -> list[Any]:
        return [SignedIn()] if self.request.method in ("GET", "HEAD") else [WorksHere()]

    @extend_schema(tags=["visits"], responses={200: VisitAnswer, 304: UNCHANGED, 404: PROBLEM})
    def get(self, request: Request, visit_uuid: uuid.UUID) -> HttpResponse:
        """The visit as it now stands, judged."""
        visit = get_object_or_404(Visit.objects.visible_to(request.user), uuid=visit_uuid)
        return conditional_answer(request._request, _json(visit_answer(visit)), revision=visit.revision)

    @extend_schema(
        tags=["visits"],
        request=VisitIn,
        parameters=CONDITIONS,
        responses={
            200: VisitAnswer,
            201: VisitAnswer,
            400: PROBLEM,
            403: PROBLEM,
            409: PROBLEM,
            412: PROBLEM,
            413: PROBLEM,
            415: PROBLEM,
        },
    )
    def put(self, request: Request, visit_uuid: uuid.UUID) -> Response:
        """Save the visit as this device knows it; it is judged in the same answer. Safe to send again."""
        return answer(
            visit_save(
                sender=sender_of(request),
                visit_uuid=visit_uuid,
                raw=raw_json(request),
                conditions=_conditions(request),
            )
        )


class VisitBatch(APIView):
    """Many visits at once."""

    permission_classes = [WorksHere]
    renderer_classes = [AnswerRenderer]

    @extend_schema(
        tags=["visits"],
        request=BatchIn,
        responses={200: BatchAnswer, 400: PROBLEM, 403: PROBLEM, 413: PROBLEM, 415: PROBLEM},
    )
    def post(self, request: Request) -> Response:
        """Save many visits, each answered as PUT would answer it. Safe to send again, whole or in parts."""
        outcomes = visits_save(sender=sender_of(request), raw=raw_json(request))
        return Response({"answers": [_batch_entry(name, outcome) for name, outcome in outcomes]})


def _batch_entry(name: Any, outcome: Saved | Problem) -> dict[str, Any]:
    told = {"uuid": name, "status": outcome.status}
    if isinstance(outcome, Problem):
        return {**told, "problem": outcome.body()}
    return {**told, "etag": outcome.etag, "answer": outcome.answer}


class VisitNowView(APIView):
    """What the technician at the burner needs now."""

    permission_classes = [WorksHere]

    @extend_schema(
        tags=["visits"],
        parameters=[
            OpenApiParameter(
                "units",
                OpenApiTypes.STR,
                enum=list(Units.values),
                description="Of the sentences; left out: SI. Numbers are in SI either way.",
            )
        ],
        responses={200: VisitNow, 304: UNCHANGED, 400: PROBLEM, 404: PROBLEM},
    )
    def get(self, request: Request, visit_uuid: uuid.UUID) -> HttpResponse:
        """Cautions, the next step, settled or seconds to go, the value against its bands, and what to do."""
        visit = get_object_or_404(Visit.objects.visible_to(request.user), uuid=visit_uuid)
        units = units_asked(request.GET.get("units", "")) or Units.SI
        return conditional_answer(request._request, _json(visit_now(visit, units)), revision=visit.revision)


class VisitCorrections(APIView):
    """Corrections of a closed visit, and the revisions they left."""

    permission_classes = [SignedIn]

    def get_permissions(self) -> list[Any]:
        return [SignedIn()] if self.request.method in ("GET", "HEAD") else [WorksHere()]

    @extend_schema(tags=["visits"], responses={200: OpenApiTypes.OBJECT, 404: PROBLEM})
    def get(self, request: Request, visit_uuid: uuid.UUID) -> Response:
        """Every revision with who, when, why and what it held, newest first."""
        visit = get_object_or_404(Visit.objects.visible_to(request.user), uuid=visit_uuid)
        return Response({"revisions": visit_revisions(visit)})

    @extend_schema(
        tags=["visits"],
        request=CorrectionIn,
        parameters=CONDITIONS,
        responses={
            200: VisitAnswer,
            400: PROBLEM,
            403: PROBLEM,
            404: PROBLEM,
            409: PROBLEM,
            412: PROBLEM,
            415: PROBLEM,
        },
    )
    def post(self, request: Request, visit_uuid: uuid.UUID) -> Response:
        """Correct a closed visit: `reason` and the whole body. The corrected revision stays visible."""
        return answer(
            visit_correct(
                sender=sender_of(request),
                visit_uuid=visit_uuid,
                raw=raw_json(request),
                conditions=_conditions(request),
            )
        )


class VisitCountersignature(APIView):
    """A licensed person's signature under a visit of somebody whose licence does not cover it."""

    permission_classes = [WorksHere]

    @extend_schema(
        tags=["visits"],
        request=None,
        responses={200: VisitAnswer, 403: PROBLEM, 404: PROBLEM, 409: OpenApiResponse(PROBLEM)},
    )
    def post(self, request: Request, visit_uuid: uuid.UUID) -> Response:
        """Countersign. The signing person's own licence must cover the work."""
        visit = get_object_or_404(Visit.objects.visible_to(request.user), uuid=visit_uuid)
        visit_countersign(by=person_of(request), visit=visit)
        return Response(visit_answer(visit))
