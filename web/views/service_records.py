"""Service records: the page and the PDF of an attendance's, and the page where anyone looks a code up."""

from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from common.problems import Problem
from people.throttling import RecordCheckThrottle
from visits.service_record.answering import check_address, issue_for, pdf_response
from visits.service_record.checking import MAX_FILE_BYTES, Checked, file_matches, record_check
from visits.service_record.codes import code_shown
from visits.service_record.issuing import fingerprint
from visits.service_record.sheet import alarms_of, sheet_build, units_for
from web.access import EVERYONE, PersonRequest, open_page, page_for
from web.forms.service_records import CheckForm, FileForm
from web.selectors.service_records import checked_summary


@page_for(EVERYONE)
@require_safe
def service_record(request: PersonRequest, uuid: UUID) -> HttpResponse:
    """What was read, found and done on one attendance, as the customer gets it."""
    issue = issue_for(request.user, uuid)
    units = units_for(issue.content, request.user, request.GET.get("units", ""))
    record = issue.record
    context = {
        "sheet": sheet_build(issue.content, units=units),
        "visits": issue.content["visits"],
        "uuid": uuid,
        "units": units,
        "record": record,
        "code": code_shown(record.code) if record else "",
        "fingerprint": fingerprint(record) if record else "",
        "check_at": f"{check_address(request)}{code_shown(record.code)}/" if record else "",
        "zone": ZoneInfo(issue.content["place"]["zone"]),
    }
    return render(request, "service-record/record.html", context)


@page_for(EVERYONE)
@require_safe
def service_record_pdf(request: PersonRequest, uuid: UUID) -> HttpResponse:
    """The same as a PDF; while it cannot be issued, its page says why."""
    try:
        return pdf_response(request, issue_for(request.user, uuid))
    except Problem:
        return redirect("web:service-record", uuid)


@open_page
@require_safe
def check(request: PersonRequest) -> HttpResponse:
    """Where a code is typed in. Open to anyone."""
    form = CheckForm(request.GET if "code" in request.GET else None)
    if form.is_bound and form.is_valid():
        return redirect("web:record-checked", form.cleaned_data["code"])
    return render(request, "service-record/check.html", {"form": form}, status=422 if form.errors else 200)


@open_page
@require_http_methods(["GET", "HEAD", "POST"])
def checked(request: PersonRequest, code: str) -> HttpResponse:
    """What stands under a code, and whether a file is one that we made of it. Open to anyone, throttled."""
    throttle = RecordCheckThrottle()
    if not throttle.allow_request(request, None):  # type: ignore[arg-type]
        return _too_many(request, throttle.wait())
    found = record_check(code)
    if found is None:
        return render(request, "service-record/check.html", _unknown(code), status=404)
    form = FileForm(request.POST or None, request.FILES or None)
    same: bool | None = None
    if request.method == "POST" and form.is_valid():
        same = file_matches(found.record, form.cleaned_data["file"].read(MAX_FILE_BYTES + 1))
    return render(request, "service-record/checked.html", _told(found) | {"form": form, "same": same})


def _told(found: Checked) -> dict[str, object]:
    return {
        "found": found,
        "code": code_shown(found.record.code),
        "fingerprint": fingerprint(found.record),
        "zone": found.record.attendance.plant.site.zone,
        "alarms": alarms_of(found.content),
        "visits": checked_summary(found.content),
    }


def _unknown(text: str) -> dict[str, object]:
    form = CheckForm({"code": text})
    if form.is_valid():
        form.add_error("code", _("No record has this code. Compare it with the paper, letter by letter."))
    return {"form": form}


def _too_many(request: PersonRequest, wait_s: float | None) -> HttpResponse:
    context = {"form": CheckForm(), "too_many": True}
    answer = render(request, "service-record/check.html", context, status=429)
    answer["Retry-After"] = str(int(wait_s or 60) + 1)
    return answer
