"""What being out of tune costs: the fleet's list, its sum, and what is reckoned with."""

from typing import Any

from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from analytics.exports import COST_COLUMNS, cost_cells
from analytics.figures import Estimate, Figure, Mark, intervals
from analytics.models import TuningCost
from fleet.units import MEASURES, units_of
from web.access import OFFICE, PersonRequest, page_for
from web.forms.drift import CostFilterForm
from web.selectors.drift.costs import costs_from, costs_page
from web.sheets import file_asked, sheet_response

ROWS = 50
FILE_ROWS = 20_000
DRAWN = 20
COLUMNS = ("customer", "site", *COST_COLUMNS)


@page_for(OFFICE)
@require_safe
def costs(request: PersonRequest) -> HttpResponseBase:
    """The dearest first, each with its interval; the sum of all; prices and assumptions beneath."""
    form, filters = CostFilterForm.chosen(request.GET)
    if file := file_asked(request):
        whole = costs_from(user=request.user, filters=filters, after="", size=FILE_ROWS)
        return sheet_response("costs", file, COLUMNS, map(_cells, whole.rows))
    page = costs_page(user=request.user, filters=filters, after=request.GET.get("after", ""), size=ROWS)
    context = {
        "form": form,
        "page": page,
        "kept": filters.as_query(),
        "figure": _figure([row for row, _story in page.lines[:DRAWN]], units_of(request.user)),
    }
    return render(request, "drift/costs.html", context)


def _figure(rows: list[TuningCost], units: str) -> Figure | None:
    energy = MEASURES["annual_gas_kwh"]
    known = [(row, row.worth(1.0)) for row in rows]
    estimates = [
        Estimate(
            f"{row.appliance.tag}, {row.appliance.plant.site}",
            energy.value(ends[0], units),
            energy.value(ends[1], units),
            energy.value(ends[2], units),
            weak=ends[1] <= 0.0 <= ends[2],
        )
        for row, ends in known
        if ends is not None
    ]
    words = {
        "axis": _("gas lost a year, %(unit)s of gross heat") % {"unit": energy.unit(units)},
        "firm": _("surely lost or saved"),
        "weak": _("could as well be nothing"),
    }
    return intervals(estimates, words=words, marks=[Mark(0.0, _("at its target"))])


def _cells(row: TuningCost) -> list[Any]:
    site = row.appliance.plant.site
    return [str(site.customer), str(site), *cost_cells(row)]
