"""The visit form in the browser: a fourth door to the same save as any device's."""

import hashlib
import json
import uuid
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from common.canonical import unpacked
from common.problems import Problem
from fleet.models import Appliance
from fleet.units import units_of
from visits.analyser_log import Clock
from visits.models import Attendance, Kind, Visit, VisitRecord
from visits.permissions import can_open_visit, can_write_visit
from visits.photographs.ranges import Part
from visits.photographs.service import Told, photograph_take
from visits.selectors import visit_answer
from visits.services import Conditions, Sender, visit_correct, visit_preview, visit_save
from web.access import FIRM, PersonRequest, page_for
from web.forms.photographs import PhotographsForm
from web.forms.visit import VisitSheet
from web.forms.visit.body import correction_body, visit_body
from web.forms.visit.conflicts import choices_of, chosen_body
from web.selectors.entry import asked_of, grid_of, now_shown, read_of, waiting_of

LOG_COLUMNS = "log_columns"
"""Where a session keeps what the columns of a header hold, so that the next log is read alike."""
HEADERS_KEPT = 8
_OF_CLOSING = ("outcome", "closed_at")


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

    def save(sheet: VisitSheet, revision: str, *, looking: bool) -> dict[str, Any]:
        sender = _sender(request)
        body = visit_body(
            sheet,
            appliance=str(appliance.uuid),
            attendance=str(attendance.uuid) if attendance is not None else None,
            save_no=_next_save_no(visit, sender.device),
            now=timezone.now(),
        )
        if looking or sheet.adding or _wants_json(request):
            # None of these closes the visit, whatever is chosen at the end of the page.
            body = {name: value for name, value in body.items() if name not in _OF_CLOSING}
        body = chosen_body(body, choices_of(request.POST))
        raw = json.dumps(body).encode()
        if looking:
            return visit_preview(sender=sender, visit_uuid=uuid, raw=raw)
        conditions = Conditions(match=f'"{revision}"' if visit is not None else None)
        return visit_save(sender=sender, visit_uuid=uuid, raw=raw, conditions=conditions).answer

    return _page(request, uuid, visit, appliance, save, correcting=False)


@page_for(FIRM)
@require_http_methods(["GET", "POST"])
def correct(request: PersonRequest, uuid: uuid.UUID) -> HttpResponse:
    """Correct a closed visit: the whole of it again, and why."""
    visit = get_object_or_404(Visit.objects.visible_to(request.user).with_place(), uuid=uuid)
    if not can_write_visit(request.user, visit):
        raise PermissionDenied("This visit is another technician's.")
    if not visit.is_closed:
        return redirect("web:enter-visit", uuid)
    if not VisitRecord.objects.filter(visit=visit, current=True).exists():
        raise Http404

    def save(sheet: VisitSheet, revision: str, *, looking: bool) -> dict[str, Any]:
        if revision != str(visit.revision):
            raise Problem("revision_stale", "Corrected meanwhile.", status=412)
        sender = _sender(request)
        save_no = _next_save_no(visit, sender.device)
        body = correction_body(sheet, save_no=save_no, now=timezone.now())
        return visit_correct(sender=sender, visit_uuid=uuid, raw=json.dumps(body).encode()).answer

    return _page(request, uuid, visit, _appliance(request, visit), save, correcting=True)


@page_for(FIRM)
@require_POST
def photographs(request: PersonRequest, uuid: uuid.UUID) -> HttpResponse:
    """Photographs that follow after the visit is closed."""
    visit = get_object_or_404(Visit.objects.visible_to(request.user), uuid=uuid)
    form = PhotographsForm(request.POST, request.FILES, prefix="pictures")
    if form.is_valid():
        _keep_photographs(request, visit, form)
    for error in [error for errors in form.errors.values() for error in errors]:
        messages.error(request, str(error))
    return redirect("web:visit", uuid)


def _page(
    request: PersonRequest,
    visit_uuid: uuid.UUID,
    visit: Visit | None,
    appliance: Appliance,
    save: Callable[..., dict[str, Any]],
    *,
    correcting: bool,
) -> HttpResponse:
    sent = request.method == "POST"
    answer = visit_answer(visit) if visit is not None else {}
    opened_at = parse_datetime(answer["opened_at"]) if answer else None
    kind = str(answer.get("kind", "")) or request.GET.get("kind", "")
    # The answers that were sent belong to the list that was shown.
    kind = request.POST.get("listed", kind) if sent else kind
    kind = kind if kind in Kind.values else str(Kind.ANNUAL_SERVICE)
    zone = appliance.plant.site.zone
    adding, looking = request.POST.get("add", ""), "look" in request.POST and not correcting
    sheet = VisitSheet(
        appliance=appliance,
        stored=answer,
        units=units_of(request.user),
        asked=asked_of(appliance, kind, opened_at or timezone.now()),
        data=request.POST if sent else None,
        files=request.FILES if sent else None,
        kind=kind,
        correcting=correcting,
        adding=adding,
        clock=Clock((opened_at or timezone.now()).astimezone(zone).date(), zone, timezone.now()),
        known=request.session.get(LOG_COLUMNS),
    )
    pictures = PhotographsForm(
        request.POST or None, request.FILES or None, prefix="pictures", asked=sheet.asked
    )
    revision, refused = request.POST.get("revision", str(answer.get("revision", ""))), sent
    if sent and all([sheet.is_valid(), pictures.is_valid()]):
        _columns_remember(request, sheet)
        try:
            saved = save(sheet, revision, looking=looking)
        except Problem as problem:
            _explain(sheet, problem)
            revision = str(answer.get("revision", ""))
        else:
            if not looking:
                stored = Visit.objects.get(uuid=visit_uuid)
                _keep_photographs(request, stored, pictures)
                return _after(request, visit_uuid, saved, correcting=correcting, adding=adding)
            answer, refused = saved, False
    if refused and _wants_json(request):
        rows = [{"field": str(label), "detail": error} for label, error, _id in sheet.errors()]
        return JsonResponse({"errors": rows}, status=422)
    context = {
        "sheet": sheet,
        "pictures": pictures,
        "visit": visit,
        "uuid": visit_uuid,
        "appliance": appliance,
        "plant": appliance.plant,
        "zone": zone,
        "answer": answer,
        "looking": sent and not refused,
        "refused": refused,
        "read": read_of(answer),
        "now": now_shown(answer, sheet.units) if not correcting else None,
        "grid": grid_of(answer),
        "waiting": waiting_of(answer, sheet.head.initial["analyser"]),
        "revision": revision,
        "listed": kind,
        "specs": [row for row in appliance.model.firing_specs.all() if row.fuel == appliance.fuel],
        "stored_pictures": list(visit.photographs.stored().select_related("by")) if visit else [],
    }
    return render(request, "technician/visit-form.html", context, status=422 if refused else 200)


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


def _sender(request: PersonRequest) -> Sender:
    return Sender(request.user, f"u{request.user.pk}")


def _next_save_no(visit: Visit | None, device: str) -> int:
    record = VisitRecord.objects.filter(visit=visit, current=True).first() if visit is not None else None
    last = unpacked(record.answers).get(device) if record is not None else None
    return last["save_no"] + 1 if last else 1


def _keep_photographs(request: PersonRequest, visit: Visit, form: PhotographsForm) -> None:
    """Each on its own: one that cannot be kept spoils neither the visit nor the others."""
    kept, told = 0, Told(item=form.cleaned_data["item"], caption=form.cleaned_data["caption"])
    for file in form.cleaned_data["photos"]:
        data = file.read()
        digest = hashlib.sha256(data).hexdigest()
        # The same file sent twice for one visit is one photograph: its key comes of what it is.
        key = uuid.uuid5(visit.uuid, digest)
        part = Part(0, len(data), len(data))
        try:
            photograph_take(
                by=request.user, visit=visit, key=key, part=part, data=data, digest=digest, told=told
            )
        except Problem as problem:
            said = _("The photograph %(name)s was not kept: %(why)s")
            messages.error(request, said % {"name": file.name, "why": problem.detail})
        else:
            kept += 1
    if kept:
        messages.success(request, _("Photographs kept: %(number)d.") % {"number": kept})


def _explain(sheet: VisitSheet, problem: Problem) -> None:
    if problem.code == "revision_stale":
        text = _(
            "This visit was changed elsewhere after you opened this page. What you typed is still below; "
            "the judgement above shows what stands now. Compare, then save again to put yours over it."
        )
        sheet.head.add_error(None, text)
        return
    sheet.add_problem(problem)


def _columns_remember(request: PersonRequest, sheet: VisitSheet) -> None:
    """The next log with the same header is read as this one was."""
    chosen = {header: columns for log in sheet.logs() for header, columns in log.chosen.items()}
    if chosen:
        kept = {**request.session.get(LOG_COLUMNS, {}), **chosen}
        request.session[LOG_COLUMNS] = dict(list(kept.items())[-HEADERS_KEPT:])


def _wants_json(request: PersonRequest) -> bool:
    """The page's own script asks, to stay where the technician is."""
    return request.headers.get("Accept") == "application/json"


def _after(
    request: PersonRequest, visit_uuid: uuid.UUID, answer: dict[str, Any], *, correcting: bool, adding: str
) -> HttpResponse:
    if _wants_json(request):
        return JsonResponse({"revision": answer["revision"]})
    if answer["closed"]:
        messages.success(request, _("Corrected and judged anew.") if correcting else _("Closed and judged."))
        return redirect("web:visit", visit_uuid)
    messages.success(request, _("Saved and judged, revision %(number)s.") % {"number": answer["revision"]})
    grave = "make_safe" in answer
    place = f"read-{quote(adding)}" if adding and not grave else "judgement"
    return redirect(f"/visits/{visit_uuid}/enter/#{place}")
