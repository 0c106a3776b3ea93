"""REST doors to the service record of an attendance."""

import uuid
from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from people.models import Units
from people.permissions import SignedIn
from visits.models import ServiceRecord
from visits.schema import PROBLEM
from visits.service_record.answering import PDF_TYPE, check_address, conditional, issue_for, pdf_response
from visits.service_record.codes import code_shown
from visits.service_record.schema import RecordAnswer

CAUTION = (
    "A record of what was read, found and done on the day. Follow the maker's instructions, local codes and "
    "licensed practice. Nothing here declares an appliance safe."
)
_UNCHANGED = OpenApiResponse(description="Unchanged since the entity tag in `If-None-Match`.")
_IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match", OpenApiTypes.STR, OpenApiParameter.HEADER, description="An entity tag held."
)


class PdfRenderer(JSONRenderer):
    """Lets a client ask for a PDF; a refusal is JSON all the same."""

    media_type = PDF_TYPE
    format = "pdf"


class AttendanceRecord(APIView):
    """The service record of an attendance."""

    permission_classes = [SignedIn]

    @extend_schema(
        tags=["service records"],
        parameters=[_IF_NONE_MATCH],
        responses={200: RecordAnswer, 304: _UNCHANGED, 404: PROBLEM},
    )
    def get(self, request: Request, attendance_uuid: uuid.UUID) -> HttpResponse:
        """What the record says, in SI units. Issued when first asked for, once its visits are closed."""
        issue = issue_for(request.user, attendance_uuid)
        answer = {
            "issued": _issued(request, issue.record) if issue.record else None,
            "content": issue.content,
            "caution": CAUTION,
        }
        return conditional(request, Response(answer, headers={"ETag": issue.etag}), issue.etag)


class AttendanceRecordPdf(APIView):
    """The service record of an attendance as a PDF."""

    permission_classes = [SignedIn]
    renderer_classes = [PdfRenderer, JSONRenderer]

    @extend_schema(
        tags=["service records"],
        parameters=[
            _IF_NONE_MATCH,
            OpenApiParameter(
                "units",
                OpenApiTypes.STR,
                enum=list(Units.values),
                description="Left out: US customary where the person or the site's country uses it, else SI.",
            ),
        ],
        responses={
            (200, PDF_TYPE): OpenApiTypes.BINARY,
            304: _UNCHANGED,
            400: PROBLEM,
            404: PROBLEM,
            409: PROBLEM,
        },
    )
    def get(self, request: Request, attendance_uuid: uuid.UUID) -> HttpResponse:
        """A tagged PDF, the same bytes each time. 409 `record_not_ready` while a visit of the day is open."""
        return pdf_response(request, issue_for(request.user, attendance_uuid))


def _issued(request: Request, record: ServiceRecord) -> dict[str, Any]:
    return {
        "code": code_shown(record.code),
        "revision": record.revision,
        "issued_at": record.issued_at.isoformat(),
        "sha256": bytes(record.digest).hex(),
        "check_at": f"{check_address(request)}{code_shown(record.code)}/",
    }
