"""A service record as an answer to a browser or to a device: one place for both doors."""

import uuid
from typing import Any

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.cache import get_conditional_response

from common.problems import Problem
from fleet.units import units_asked
from people.models import User
from visits.models import Attendance
from visits.service_record.codes import CHECK_PATH, code_shown
from visits.service_record.issuing import Issue, record_issue
from visits.service_record.sheet import units_for
from visits.service_record.typesetting import record_pdf

PDF_TYPE = "application/pdf"


def issue_for(user: Any, attendance_uuid: uuid.UUID) -> Issue:
    """The record of an attendance that the person may see; not found otherwise."""
    rows = Attendance.objects.visible_to(user).select_related("plant__site")
    attendance = get_object_or_404(rows, uuid=attendance_uuid)
    return record_issue(by=user if isinstance(user, User) else None, attendance=attendance)


def pdf_response(request: Any, issue: Issue) -> HttpResponse:
    """The record's PDF as an answer with its entity tag. Raises Problem."""
    asked = units_asked(request.GET.get("units", ""))
    if issue.record is None:
        raise Problem("record_not_ready", "No closed visit yet, or one of today is still open.", status=409)
    units = units_for(issue.content, request.user, asked)
    pdf = record_pdf(record=issue.record, content=issue.content, units=units, check_at=check_address(request))
    response = HttpResponse(pdf.content, content_type=PDF_TYPE)
    name = f"service-record-{issue.content['attendance']['local_on']}-{code_shown(issue.record.code)}.pdf"
    response["Content-Disposition"] = f'inline; filename="{name}"'
    response["ETag"] = pdf.etag
    return conditional(request, response, pdf.etag)


def check_address(request: Any) -> str:
    """Where a code is looked up: under the public address of the settings, else under the one asked."""
    base = settings.PUBLIC_URL or request.build_absolute_uri("/")
    return f"{base.rstrip('/')}/{CHECK_PATH}"


def conditional(request: Any, response: HttpResponse, etag: str) -> HttpResponse:
    """The answer, or 304 where the client holds it already. Takes a request of either framework."""
    plain = getattr(request, "_request", request)
    return get_conditional_response(plain, etag=etag, response=response) or response
