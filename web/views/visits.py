"""A visit's page: the whole record, judged; and a licensed person's signature under it."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from common.problems import Problem
from people.permissions import works_here
from visits.models import Visit
from visits.permissions import can_countersign, can_write_visit
from visits.services import visit_countersign
from web.access import EVERYONE, FIRM, PersonRequest, page_for
from web.forms.photographs import PhotographsForm
from web.selectors.flue_gas import visit_fuel_line
from web.selectors.visit import visit_page

RESULTS = (
    "air_ratio",
    "excess_air_pct",
    "o2_pct",
    "co_air_free_ppm",
    "co_co2_ratio",
    "dew_point_c",
    "condensed_pct",
    "sensible_loss_gross_pct",
    "efficiency_gross_pct",
    "efficiency_net_pct",
)


@page_for(EVERYONE)
@require_safe
def visit(request: PersonRequest, uuid: UUID) -> HttpResponse:
    """What was read, done and judged on one visit."""
    page = visit_page(user=request.user, uuid=uuid)
    seen = page.visit
    may_write = works_here(request.user) and can_write_visit(request.user, seen)
    context = {
        "page": page,
        "visit": seen,
        "zone": seen.appliance.plant.site.zone,
        "results": RESULTS,
        "fuel_line": visit_fuel_line(page.tests, seen.fuel, several_burners=page.several_burners),
        "can_go_on": not seen.is_closed and may_write,
        "can_correct": may_write and bool(page.records),
        "can_add_photographs": seen.is_closed and may_write,
        "pictures": PhotographsForm(prefix="pictures"),
        "can_sign": seen.uncountersigned and can_countersign(request.user),
    }
    return render(request, "visits/visit.html", context)


@page_for(FIRM)
@require_POST
def countersign(request: PersonRequest, uuid: UUID) -> HttpResponse:
    """A licensed person's signature; their own licence is asked for, and a refusal says why."""
    rows = Visit.objects.visible_to(request.user).with_place()
    waiting = get_object_or_404(rows, uuid=uuid)
    try:
        visit_countersign(by=request.user, visit=waiting)
    except Problem as problem:
        messages.error(request, problem.detail)
    else:
        messages.success(request, _("Countersigned."))
    return redirect("web:visit", uuid)
