"""Trims that wander, ranked, and the evidence for each."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from analytics.costing.past import PastCost
from analytics.figures import Estimate, Mark, intervals
from analytics.trim_scale import trim_scale
from web.access import FIRM, OFFICE, PersonRequest, page_for
from web.forms.drift import WandererFilterForm
from web.selectors.drift.wanderers import RankedTrim, evidence_page, wanderers_page, with_past
from web.sheets import file_asked, sheet_response
from web.views.drift.trends import trend_charts

ROWS = 50
FILE_ROWS = 5_000
COLUMNS = (
    "appliance", "customer", "site", "gas_area", "burner", "trim", "unit", "wander_probability", "flagged",
    "moved_per_year", "usual_per_year", "drift_per_year", "drift_low", "drift_high",
    "from_analyser_per_year", "from_gas_per_year", "visits", "next_visit_by", "appliance_cost_kwh_per_year",
    "appliance_cost_low_kwh", "appliance_cost_high_kwh", "burner_past_from", "burner_past_to",
    "burner_past_intervals", "burner_past_intervals_left_out", "burner_past_cost_kwh",
    "burner_past_cost_low_kwh", "burner_past_cost_high_kwh", "burner_past_co2_kg", "burner_past_co2_low_kg",
    "burner_past_co2_high_kg", "currency", "burner_past_money", "burner_past_money_low",
    "burner_past_money_high",
)  # fmt: skip
PAST_COLUMNS = len(COLUMNS) - COLUMNS.index("burner_past_from")
EVIDENCE_COLUMNS = (
    "burner", "visit", "local_on", "phase", "analyser", "bias_co2_pct", "bias_u_co2_pct", "bias_weak",
    "removed_analyser_pct", "removed_gas_pct", "throttle_pct", "throttle_u_pct", "offset", "offset_u",
    "offset_unit", "throttle_afresh", "offset_afresh",
)  # fmt: skip


@page_for(OFFICE)
@require_safe
def wanderers(request: PersonRequest) -> HttpResponseBase:
    """The surest first, each with its probability, its movement against its peers, and what explains it."""
    form, filters = WandererFilterForm.chosen(request.GET)
    if file := file_asked(request):
        whole = wanderers_page(user=request.user, filters=filters, after="", size=FILE_ROWS)
        cells = (_cells(*line) for line in with_past(whole.rows, whole.run))
        return sheet_response("wanderers", file, COLUMNS, cells)
    page = wanderers_page(user=request.user, filters=filters, after=request.GET.get("after", ""), size=ROWS)
    words = {"axis": _("movement a year, times its peers'"), "firm": _("flagged"), "weak": _("not flagged")}
    context = {
        "form": form,
        "page": page,
        "kept": filters.as_query(),
        "everything": filters.everything,
        "by_cost": filters.by_cost,
        "by_other": replace(filters, by_cost=not filters.by_cost).as_query(),
        "figure": intervals(
            [row for row in map(_estimate, page.rows[:20]) if row],
            words=words,
            marks=[Mark(1.0, _("as its peers"))],
        ),
    }
    return render(request, "drift/wanderers.html", context)


@page_for(FIRM)
@require_safe
def evidence(request: PersonRequest, pk: int) -> HttpResponseBase:
    """Which visits, which analysers, and what was removed as bias or gas."""
    page = evidence_page(user=request.user, pk=pk)
    if file := file_asked(request):
        return sheet_response(f"drift-{pk}", file, EVIDENCE_COLUMNS, _evidence_cells(page))
    return render(request, "drift/evidence.html", {"page": page, "kept": "", "charts": trend_charts(page)})


def _estimate(row: RankedTrim) -> Estimate | None:
    times = row.times_usual
    if times is None:
        return None
    name = f"{row.drift.appliance.tag}, {row.trim.get_trim_display()}"
    return Estimate(name, times, times, times, weak=not row.trim.flagged)


def _cells(row: RankedTrim, past: PastCost | None) -> list[Any]:
    site, trim = row.drift.appliance.plant.site, row.trim
    return [
        row.drift.appliance.tag, str(site.customer), str(site), str(site.gas_area or ""), str(trim.burner),
        trim.trim, trim.get_unit_display(), trim.wander_probability, trim.flagged, trim.moved_per_year,
        trim.usual_per_year, trim.drift_per_year, trim.drift_low, trim.drift_high,
        trim.from_analyser_per_year, trim.from_gas_per_year, trim.visits, row.drift.next_visit_by,
        row.drift.cost_kwh, row.drift.cost_low_kwh, row.drift.cost_high_kwh, *_past_cells(past),
    ]  # fmt: skip


def _past_cells(past: PastCost | None) -> list[Any]:
    if past is None:
        return [None] * PAST_COLUMNS
    ends = [[reach.value, reach.low, reach.high] for reach in (past.energy_kwh, past.co2_kg)]
    money = [past.money.value, past.money.low, past.money.high] if past.money else [None] * 3
    return [
        past.since, past.until, past.intervals, past.left_out, *ends[0], *ends[1], past.currency, *money
    ]  # fmt: skip


def _evidence_cells(page: Any) -> Iterator[list[Any]]:
    for burner in page.burners:
        for line in burner.lines:
            step, bias = line.step, line.bias
            yield [
                str(burner.burner), str(line.visit.uuid), line.visit.local_on,
                "as_left" if step.left else "as_found", str(line.visit.analyser or line.visit.analyser_text),
                bias.bias_co2_pct if bias else None, bias.bias_u_co2_pct if bias else None,
                bias.weak if bias else None, step.removed_analyser, step.removed_gas, step.throttle,
                step.throttle_u, step.offset, step.offset_u, trim_scale(burner.offset_unit).unit,
                step.throttle_afresh, step.offset_afresh,
            ]  # fmt: skip
