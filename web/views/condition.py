"""The manager's page: how the fleet is found, and what stands open."""

from collections.abc import Iterator
from datetime import date

from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from analytics.costing.totals import Total
from analytics.figures import MonthShare, share_by_month
from web.access import MANAGERS, PersonRequest, page_for
from web.forms.filters import DueFilterForm
from web.paging import ROWS
from web.selectors.condition import condition_cost, condition_months, condition_page, month_visits
from web.sheets import file_asked, sheet_response

MONTH_COLUMNS = ("month", "judged", "out_of_band", "share_pct", "low_pct", "high_pct")
COST_COLUMNS = ("what", "unit", "lost_a_year", "low", "high", "burners")


@page_for(MANAGERS)
@require_safe
def condition(request: PersonRequest) -> HttpResponseBase:
    """Health as found, out-of-band share by month, findings, workload, safety states."""
    form, filters = DueFilterForm.read(request.GET)
    if file := file_asked(request):
        cost = condition_cost(user=request.user, filters=filters)
        return sheet_response("cost-together", file, COST_COLUMNS, _cost_cells(cost))
    page = condition_page(user=request.user, filters=filters, today=timezone.localdate())
    words = {
        "share": _("out of band as found"),
        "axis": _("visits out of band, %"),
        "before": _("the same month a year before"),
    }
    context = {
        "form": form,
        "page": page,
        "figure": share_by_month(page.months, words=words, before=page.before),
        "kept": filters.as_query(),
        "judged": sum(page.verdicts.values()),
        "judged_before": sum(page.verdicts_before.values()),
    }
    return render(request, "manager/condition.html", context)


@page_for(MANAGERS)
@require_safe
def months(request: PersonRequest) -> HttpResponseBase:
    """The months of the page as they are shown, as a file."""
    _form, filters = DueFilterForm.read(request.GET)
    rows = condition_months(user=request.user, filters=filters, today=timezone.localdate())
    form = file_asked(request) or "csv"
    return sheet_response("out-of-band-by-month", form, MONTH_COLUMNS, map(_month_cells, rows))


@page_for(MANAGERS)
@require_safe
def month(request: PersonRequest, year: int, month: int) -> HttpResponse:
    """The visits of one month, all that were judged or those out of band."""
    try:
        first = date(year, month, 1)
    except ValueError as error:
        raise Http404 from error
    _form, filters = DueFilterForm.read(request.GET)
    outside = request.GET.get("outside") == "1"
    page = month_visits(
        user=request.user,
        filters=filters,
        month=first,
        outside=outside,
        after=request.GET.get("after", ""),
        size=ROWS,
    )
    context = {"page": page, "month": first, "outside": outside, "kept": filters.as_query()}
    return render(request, "manager/month.html", context)


def _cost_cells(cost: Total | None) -> Iterator[list[object]]:
    if cost is None:
        return
    for what, unit, reach in (("gas", "kWh", cost.energy_kwh), ("co2", "kg", cost.co2_kg)):
        yield [what, unit, reach.value, reach.low, reach.high, cost.burners]
    for currency, reach in cost.money.items():
        yield ["money", currency, reach.value, reach.low, reach.high, cost.priced]


def _month_cells(row: MonthShare) -> list[object]:
    shares = (round(value, 2) for value in (row.share_pct, row.low_pct, row.high_pct))
    return [f"{row.month:%Y-%m}", row.judged, row.outside, *shares]
