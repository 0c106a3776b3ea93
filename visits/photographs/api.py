"""REST doors to the photographs of a visit."""

import uuid
from datetime import datetime
from io import BytesIO
from typing import Any

from django.core.files.storage import default_storage
from django.http import FileResponse, Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from pydantic import BaseModel
from rest_framework import serializers
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from common.problems import Problem
from people.permissions import SignedIn, WorksHere
from visits.api import person_of
from visits.models import Photograph, Visit
from visits.photographs.picture import MAX_BYTES, SMALL_EDGE_PX, TYPES, small_of
from visits.photographs.ranges import digest_of, part_of
from visits.photographs.service import Told, photograph_take
from visits.schema import PROBLEM

_SMALL = "small"


class ToldQuery(serializers.Serializer[Any]):
    """What is told of a photograph, in the query."""

    item = serializers.CharField(
        required=False, allow_blank=True, max_length=60, help_text="Code of the item it shows."
    )
    caption = serializers.CharField(required=False, allow_blank=True, max_length=200)
    taken_at = serializers.DateTimeField(required=False, help_text="Device clock, with a zone.")

    def validate_taken_at(self, value: datetime) -> datetime:
        """Naive times are refused as everywhere; the field would take the server's zone for them."""
        text = str(self.initial_data.get("taken_at", ""))
        if not (text.endswith(("Z", "z")) or "+" in text[10:] or "-" in text[10:]):
            raise serializers.ValidationError("Send an ISO 8601 time with a zone.", code="zone_missing")
        return value


class PhotographAnswer(BaseModel):
    """A photograph. While it is on its way `offset` says where to go on; `url` comes once it is stored."""

    key: str
    complete: bool
    offset: int
    total: int
    item: str
    caption: str
    taken_at: datetime | None
    received_at: datetime
    by: str
    width_px: int
    height_px: int
    bytes: int
    url: str | None


class PhotographsAnswer(BaseModel):
    """The photographs of a visit, in the order in which they came."""

    photographs: list[PhotographAnswer]


class Photographs(APIView):
    """The photographs of a visit."""

    permission_classes = [SignedIn]

    @extend_schema(
        operation_id="visits_photographs_list",
        tags=["visits"],
        responses={200: PhotographsAnswer, 404: PROBLEM},
    )
    def get(self, request: Request, visit_uuid: uuid.UUID) -> Response:
        """All of them; those still on their way only for the firm's people."""
        visit = get_object_or_404(Visit.objects.visible_to(request.user), uuid=visit_uuid)
        rows = Photograph.objects.filter(visit=visit).select_related("by")
        if not WorksHere().has_permission(request, self):
            rows = rows.stored()
        return Response({"photographs": [photograph_answer(row, visit) for row in rows]})


class PhotographDetail(APIView):
    """One photograph of a visit."""

    def get_permissions(self) -> list[Any]:
        return [SignedIn()] if self.request.method == "GET" else [WorksHere()]

    def perform_content_negotiation(self, request: Request, force: bool = False) -> tuple[Any, str]:
        """A picture is answered whatever the client would rather have; a refusal is JSON."""
        return JSONRenderer(), JSONRenderer.media_type

    @extend_schema(
        tags=["visits"],
        parameters=[
            OpenApiParameter(
                "size",
                OpenApiTypes.STR,
                enum=[_SMALL],
                description=f"Its longest edge at most {SMALL_EDGE_PX} px; left out: whole.",
            )
        ],
        responses={(200, "image/jpeg"): OpenApiTypes.BINARY, 404: PROBLEM},
    )
    def get(self, request: Request, visit_uuid: uuid.UUID, key: uuid.UUID) -> FileResponse:
        """The picture: a JPEG without metadata. One that is still on its way is not there yet."""
        row = _seen(request, visit_uuid).stored().filter(key=key).first()
        if row is None:
            raise Http404
        # Not written again under this name, but seen only by who may see the visit.
        headers = {"Cache-Control": "private, max-age=86400", "X-Content-Type-Options": "nosniff"}
        kept, name = default_storage.open(row.path), f"{row.key}.jpg"
        if request.GET.get("size") != _SMALL:
            return FileResponse(kept, content_type="image/jpeg", filename=name, headers=headers)
        with kept:
            small = BytesIO(small_of(kept.read()))
        return FileResponse(small, content_type="image/jpeg", filename=name, headers=headers)

    @extend_schema(exclude=True)
    def head(self, request: Request, visit_uuid: uuid.UUID, key: uuid.UUID) -> Response:
        """How much of it is held, in Upload-Offset; whether it is whole, in Upload-Complete."""
        row = get_object_or_404(_seen(request, visit_uuid), key=key)
        return Response(headers=_progress(row))

    @extend_schema(
        tags=["visits"],
        request=dict.fromkeys(TYPES, OpenApiTypes.BINARY),
        parameters=[
            ToldQuery,
            OpenApiParameter(
                "Content-Range", OpenApiTypes.STR, OpenApiParameter.HEADER, description="A part."
            ),
            OpenApiParameter(
                "Repr-Digest",
                OpenApiTypes.STR,
                OpenApiParameter.HEADER,
                description="«sha-256=:BASE64:» of the whole file; needed with parts.",
            ),
        ],
        responses={
            200: PhotographAnswer,
            201: PhotographAnswer,
            202: PhotographAnswer,
            400: PROBLEM,
            403: PROBLEM,
            404: PROBLEM,
            409: PROBLEM,
            413: PROBLEM,
            415: PROBLEM,
        },
    )
    def put(self, request: Request, visit_uuid: uuid.UUID, key: uuid.UUID) -> Response:
        """Send a photograph, whole or in parts. Safe to send again.

        201 when it is stored, 202 while parts are missing (`offset` says from where), 200 where it was
        stored before.
        """
        visit = get_object_or_404(
            Visit.objects.visible_to(request.user).select_related("attendance"), uuid=visit_uuid
        )
        if request.content_type.split(";")[0].strip().lower() not in TYPES:
            raise UnsupportedMediaType(request.content_type or "none")
        query = ToldQuery(data=request.query_params)
        query.is_valid(raise_exception=True)
        data = _body(request)
        part = part_of(request.headers.get("Content-Range"), len(data))
        stored = Photograph.objects.stored().filter(visit=visit, key=key).exists()
        row = photograph_take(
            by=person_of(request),
            visit=visit,
            key=key,
            part=part,
            data=data,
            digest=digest_of(request.headers.get("Repr-Digest")),
            told=Told(**query.validated_data),
        )
        complete = row.state == Photograph.State.STORED
        status = 202 if not complete else 200 if stored else 201
        return Response(photograph_answer(row, visit), status=status, headers=_progress(row))


def photograph_answer(row: Photograph, visit: Visit) -> dict[str, Any]:
    """One photograph as it is answered."""
    complete = row.state == Photograph.State.STORED
    return {
        "key": str(row.key),
        "complete": complete,
        "offset": row.held_bytes,
        "total": row.sent_bytes,
        "item": row.item,
        "caption": row.caption,
        "taken_at": row.taken_at.isoformat() if row.taken_at else None,
        "received_at": row.received_at.isoformat(),
        "by": str(row.by),
        "width_px": row.width_px,
        "height_px": row.height_px,
        "bytes": row.stored_bytes,
        "url": f"/api/v1/visits/{visit.uuid}/photographs/{row.key}/" if complete else None,
    }


def _seen(request: Request, visit_uuid: uuid.UUID) -> Any:
    return Photograph.objects.visible_to(request.user).filter(visit__uuid=visit_uuid)


def _progress(row: Photograph) -> dict[str, str]:
    complete = "?1" if row.state == Photograph.State.STORED else "?0"
    return {"Upload-Offset": str(row.held_bytes), "Upload-Complete": complete}


def _body(request: Request) -> bytes:
    """The bytes as they came, at most one photograph's worth: read here, not held by the form parser."""
    data = request._request.read(MAX_BYTES + 1)
    if len(data) > MAX_BYTES:
        raise Problem("too_large", f"A photograph has at most {MAX_BYTES} bytes.", status=413)
    return bytes(data)
