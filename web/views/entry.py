"""The visit form in the browser: a fourth door to the same save as any device's."""

import json
import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from common.canonical import unpacked
from common.problems import Problem
from fleet.models import Appliance
from visits.models import Attendance, Visit, VisitRecord
from visits.permissions import can_open_visit, can_write_visit
from visits.selectors import visit_answer
from visits.services import Sender, visit_save
from web.access import FIRM, PersonRequest, page_for
from web.forms.visit import VisitSheet
from web.units import units_of


@page_for(FIRM)
@require_safe
def begin(request: PersonRequest, appliance_pk: int) -> HttpResponse:
    """A fresh form: the visit has its number from the moment it is opened."""
    appliance = get_object_or_404(Appliance.objects.visible_to(request.user), pk=appliance_pk)
    address = f"{uuid.uuid4()}/enter/?appliance={appliance.pk}"
    attendance = _attendance(request, appliance)
    if attendance is not None:
        address += f"&attendance={attendance.uuid}"
    return redirect(f"/visits/{address}")


@page_for(FIRM)
@require_http_methods(["GET", "POST"])
def enter(request: PersonRequest, uuid: uuid.UUID) -> HttpResponse:
    """Read and save one visit."""
    visit = Visit.objects.visible_to(request.user).with_place().filter(uuid=uuid).first()
    if visit is not None and not can_write_visit(request.user, visit):
        raise PermissionDenied("This visit is another technician's.")
    if visit is not None and visit.is_closed:
        return redirect("web:visit", uuid)
    appliance = _appliance(request, visit)
    attendance = _attendance(request, appliance)
    if visit is None and not can_open_visit(request.user, attendance):
        raise PermissionDenied("This attendance is another technician's.")
    answer = visit_answer(visit) if visit is not None else {}
    sheet = VisitSheet(
        appliance=appliance,
        stored=answer,
        units=units_of(request.user),
        data=request.POST if request.method == "POST" else None,
        kind=request.GET.get("kind", ""),
    )
    revision = request.POST.get("revision", str(answer.get("revision", "")))
    if request.method == "POST" and sheet.is_valid():
        try:
            saved = _save(request, uuid, visit, appliance, attendance, sheet, revision)
        except Problem as problem:
            _explain(sheet, problem)
            revision = str(answer.get("revision", ""))
        else:
            return _after(request, uuid, saved.answer)
    context = {
        "sheet": sheet,
        "visit": visit,
        "uuid": uuid,
        "appliance": appliance,
        "plant": appliance.plant,
        "answer": answer,
        "revision": revision,
        "specs": [row for row in appliance.model.firing_specs.all() if row.fuel == appliance.fuel],
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "technician/visit-form.html", context, status=status)


def _appliance(request: PersonRequest, visit: Visit | None) -> Appliance:
    named = str(visit.appliance_id) if visit is not None else request.GET.get("appliance", "")
    if not named.isdecimal() or len(named) > 18:
        raise Http404
    rows = Appliance.objects.visible_to(request.user).with_place()
    rows = rows.prefetch_related("burners", "model__trims", "model__firing_specs")
    appliance: Appliance = get_object_or_404(rows, pk=int(named))
    return appliance


def _attendance(request: PersonRequest, appliance: Appliance) -> Attendance | None:
    try:
        named = uuid.UUID(request.GET.get("attendance", ""))
    except ValueError:
        return None
    return Attendance.objects.visible_to(request.user).filter(uuid=named, plant=appliance.plant_id).first()


def _save(
    request: PersonRequest,
    visit_uuid: uuid.UUID,
    visit: Visit | None,
    appliance: Appliance,
    attendance: Attendance | None,
    sheet: VisitSheet,
    revision: str,
) -> Any:
    sender = Sender(request.user, f"u{request.user.pk}")
    body = sheet.body(
        appliance=str(appliance.uuid),
        attendance=str(attendance.uuid) if attendance is not None else None,
        save_no=_next_save_no(visit, sender.device),
        now=timezone.now(),
    )
    if_match = f'"{revision}"' if visit is not None else None
    return visit_save(sender=sender, visit_uuid=visit_uuid, raw=json.dumps(body).encode(), if_match=if_match)


def _next_save_no(visit: Visit | None, device: str) -> int:
    record = VisitRecord.objects.filter(visit=visit, current=True).first() if visit is not None else None
    last = unpacked(record.answers).get(device) if record is not None else None
    return last["save_no"] + 1 if last else 1


def _explain(sheet: VisitSheet, problem: Problem) -> None:
    if problem.code == "revision_stale":
        text = _(
            "This visit was changed elsewhere after you opened this page. What you typed is still below; "
            "the judgement above shows what stands now. Compare, then save again to put yours over it."
        )
        sheet.head.add_error(None, text)
        return
    sheet.add_problem(problem)


def _after(request: PersonRequest, visit_uuid: uuid.UUID, answer: dict[str, Any]) -> HttpResponse:
    if answer["closed"]:
        messages.success(request, _("Closed and judged."))
        return redirect("web:visit", visit_uuid)
    messages.success(request, _("Saved and judged, revision %(number)s.") % {"number": answer["revision"]})
    return redirect(f"/visits/{visit_uuid}/enter/#judgement")
