"""What is blamed on the boiler: analysers and gas; and which models age."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import Http404
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from analytics.figures import Estimate, Figure, Mark, MonthValue, by_month, intervals
from analytics.models import GasShift
from analytics.selectors import PeriodStory
from analytics.trim_scale import trim_scale
from combustion.analyser import EN_50379
from visits.models import TestResult
from web.access import OFFICE, PersonRequest, page_for
from web.forms.drift import ModelFilterForm
from web.paging import ROWS
from web.selectors.drift.analysers import analysers_page, period_page
from web.selectors.drift.gas import CO2_PER_PCT, gas_month_page, gas_page
from web.selectors.drift.models import Ageing, models_page
from web.sheets import file_asked, sheet_response

FILE_ROWS = 20_000
DRAWN = 25
MODEL_COLUMNS = (
    "model", "age_from_years", "trim", "unit", "burners", "flagged", "drift_per_year", "drift_low",
    "drift_high", "moved_per_year_median",
)  # fmt: skip
PERIOD_COLUMNS = (
    "analyser", "calibrated_on", "bias_co2_pct", "low_co2_pct", "high_co2_pct", "weak", "readings", "visits",
    "first_on", "last_on", "verdicts_changed",
)  # fmt: skip
GAS_COLUMNS = ("gas_area", "month", "shift_pct", "low_pct", "high_pct", "co2_pct", "readings", "weak")
CHANGED_COLUMNS = (
    "visit", "local_on", "appliance", "burner", "firing_point", "co2_pct", "corrected_co2_pct",
    "accept_low_co2_pct", "accept_high_co2_pct",
)  # fmt: skip


@page_for(OFFICE)
@require_safe
def models(request: PersonRequest) -> HttpResponseBase:
    """Which maker's part ages, with its interval, and how it goes with age."""
    form, filters = ModelFilterForm.chosen(request.GET)
    page = models_page(user=request.user, filters=filters)
    if file := file_asked(request):
        lines = page.models if filters.model is None else page.ages
        cells = (_model_cells(line, filters.model) for line in lines)
        return sheet_response("models", file, MODEL_COLUMNS, cells)
    context = {
        "form": form,
        "page": page,
        "each": filters.as_query(ages=False),
        "figure": _ageing_figure(page.models[:DRAWN], by_age=False),
        "age_figure": _ageing_figure(page.ages, by_age=True),
        "kept": filters.as_query(),
    }
    return render(request, "drift/models.html", context)


@page_for(OFFICE)
@require_safe
def analysers(request: PersonRequest) -> HttpResponseBase:
    """Bias of each analyser period, the largest first, and the verdicts it changed."""
    tag, every = request.GET.get("analyser", "")[:80], request.GET.get("show") == "all"
    if file := file_asked(request):
        whole = analysers_page(user=request.user, tag=tag, every=every, size=FILE_ROWS)
        return sheet_response("analysers", file, PERIOD_COLUMNS, (_period_cells(row) for row in whole.rows))
    page = analysers_page(user=request.user, tag=tag, every=every, size=ROWS)
    kept = urlencode({"analyser": tag, "show": "all" if every else ""})
    context = {"page": page, "tag": tag, "every": every, "figure": _bias_figure(page.rows[:DRAWN])}
    context["kept"] = kept
    return render(request, "drift/analysers.html", context)


@page_for(OFFICE)
@require_safe
def analyser_period(request: PersonRequest, pk: int) -> HttpResponseBase:
    """One period: who used it, and which verdicts it would change."""
    file, after = file_asked(request), request.GET.get("after", "")
    most = FILE_ROWS if file else ROWS
    page = period_page(user=request.user, pk=pk, after=after, size=ROWS, changed_most=most)
    if file:
        return sheet_response(f"analyser-period-{pk}", file, CHANGED_COLUMNS, _changed_cells(page.changed))
    return render(request, "drift/period.html", {"page": page})


@page_for(OFFICE)
@require_safe
def gas(request: PersonRequest) -> HttpResponseBase:
    """Each area's shift by month against its usual gas."""
    area, tanks = _number(request, "area"), request.GET.get("supply") == "tank"
    page = gas_page(user=request.user, area=area, tanks=tanks)
    if file := file_asked(request):
        return sheet_response("gas", file, GAS_COLUMNS, (_shift_cells(row) for row in page.months))
    context = {
        "page": page,
        "tanks": tanks,
        "months": [(row, CO2_PER_PCT * row.shift_pct) for row in reversed(page.months)],
        "figure": _gas_figure(page.months),
        "kept": f"area={page.chosen.pk}" if page.chosen else "",
    }
    return render(request, "drift/gas.html", context)


@page_for(OFFICE)
@require_safe
def gas_month(request: PersonRequest, pk: int, year: int, month: int) -> HttpResponseBase:
    """The visits of one area's month that the gas explains."""
    page = gas_month_page(user=request.user, area=pk, month=_first(year, month))
    if file := file_asked(request):
        name = f"gas-{year}-{month:02}"
        return sheet_response(name, file, CHANGED_COLUMNS, _changed_cells(page.explained))
    return render(request, "drift/gas-month.html", {"page": page})


def _first(year: int, month: int) -> date:
    try:
        return date(year, month, 1)
    except ValueError as error:
        raise Http404 from error


def _number(request: PersonRequest, name: str) -> int | None:
    text = request.GET.get(name, "")
    return int(text) if text.isdecimal() and len(text) < 19 else None


def _model_cells(line: Ageing, model: int | None) -> list[Any]:
    row = line.row
    return [
        str(row.model), None if model is None else row.age_from, row.trim, trim_scale(row.unit).unit,
        row.burners, row.flagged, row.drift, row.drift_low, row.drift_high, row.moved,
    ]  # fmt: skip


def _period_cells(row: PeriodStory) -> list[Any]:
    bias = row.bias
    return [
        bias.period.analyser.tag, bias.period.starts_on, bias.bias_co2_pct, *row.interval_co2_pct, bias.weak,
        bias.readings, bias.visits, bias.first_on, bias.last_on, bias.verdicts_changed,
    ]  # fmt: skip


def _shift_cells(row: GasShift) -> list[Any]:
    return [
        str(row.gas_area), row.month, row.shift_pct, *_reach(row), CO2_PER_PCT * row.shift_pct, row.readings,
        row.weak,
    ]  # fmt: skip


def _ageing_figure(lines: Sequence[Ageing], *, by_age: bool) -> Figure | None:
    units = {line.scale.unit for line in lines}
    rows = [
        Estimate(
            _ageing_name(line, by_age=by_age, alone=len(units) == 1),
            line.row.drift * line.scale.factor,
            (line.row.drift if line.row.drift_low is None else line.row.drift_low) * line.scale.factor,
            (line.row.drift if line.row.drift_high is None else line.row.drift_high) * line.scale.factor,
            weak=not line.one_way,
        )
        for line in lines
    ]
    unit = units.pop() if len(units) == 1 else _("in each one's unit")
    words = {
        "axis": _("drift a year, %(unit)s") % {"unit": unit},
        "firm": _("surely drifts"),
        "weak": _("may not drift"),
    }
    return intervals(rows, words=words, marks=[Mark(0.0, _("no drift"))])


def _ageing_name(line: Ageing, *, by_age: bool, alone: bool) -> str:
    """With its unit where others have another."""
    name = line.age_words if by_age else str(line.row.model)
    return name if alone else f"{name} ({line.scale.unit})"


def _bias_figure(rows: Iterable[PeriodStory]) -> Figure | None:
    estimates = [
        Estimate(
            f"{row.bias.period.analyser}, {row.bias.period.starts_on or '–'}",
            row.bias.bias_co2_pct,
            *row.interval_co2_pct,
            weak=row.bias.weak,
        )
        for row in rows
    ]
    words = {
        "axis": _("reading minus truth at 9 % CO2, vol %"),
        "firm": _("told from the gas"),
        "weak": _("weak"),
    }
    limit = float(EN_50379.error_limit("co2_pct", 9.0))
    marks = [Mark(0.0, _("true")), Mark(-limit, f"−{limit:g}"), Mark(limit, f"+{limit:g} " + _("class"))]
    return intervals(estimates, words=words, marks=marks)


def _gas_figure(months: Iterable[GasShift]) -> Figure | None:
    rows = [MonthValue(row.month, row.shift_pct, *_reach(row), weak=row.weak) for row in months]
    words = {
        "axis": _("shift of the mixture, %"),
        "value": _("month"),
        "weak": _("weak: few readings"),
        "interval": _("95 % interval"),
        "usual": _("the area's usual gas"),
    }
    return by_month(rows, words=words)


def _reach(row: GasShift) -> tuple[float, float]:
    half = 1.96 * row.shift_u_pct
    return row.shift_pct - half, row.shift_pct + half


def _changed_cells(results: Iterable[TestResult]) -> Iterator[list[Any]]:
    for row in results:
        test = row.test
        yield [
            str(test.visit.uuid), test.visit.local_on, test.visit.appliance.tag, str(test.burner), test.point,
            test.co2_pct, row.corrected, row.accept_low_co2_pct, row.accept_high_co2_pct,  # type: ignore[attr-defined]
        ]  # fmt: skip
