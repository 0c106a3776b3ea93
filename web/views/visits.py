"""A visit's page: the whole record, judged."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from web.access import EVERYONE, page_for
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
def visit(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """What was read, done and judged on one visit."""
    page = visit_page(user=request.user, uuid=uuid)
    zone = page.visit.appliance.plant.site.zone
    return render(
        request, "visits/visit.html", {"page": page, "visit": page.visit, "zone": zone, "results": RESULTS}
    )
