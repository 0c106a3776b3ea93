"""What fouling and wear move: the fleet's list, and one appliance's small charts."""

from typing import Any

from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from analytics.figures import quantity_chart
from analytics.models import BurnerTrend
from analytics.quantities import BY_CODE, QUANTITIES
from analytics.selectors.trends import TrendStory, trend_sentence, trends_ranked
from analytics.services import current_run
from web.access import OFFICE, PersonRequest, page_for
from web.sheets import file_asked, sheet_response

ROWS = 100
FILE_ROWS = 20_000
COLUMNS = (
    "appliance", "customer", "site", "model", "burner", "quantity",
    "unit", "readings", "level", "slope_per_year", "slope_low", "slope_high",
    "step", "step_on", "limit", "limit_source", "passes_on", "passes_earliest_on",
)  # fmt: skip


@page_for(OFFICE)
@require_safe
def trends(request: PersonRequest) -> HttpResponseBase:
    """Burners whose quantities surely trend or have stepped, the strongest first. Two queries."""
    quantity = request.GET.get("quantity", "")
    quantity = quantity if quantity in BY_CODE else ""
    found = trends_ranked(user=request.user, quantity=quantity)
    if file := file_asked(request):
        return sheet_response("trends", file, COLUMNS, (_cells(row) for row in found[:FILE_ROWS]))
    shown = list(found[: ROWS + 1])
    context = {
        "rows": [(row, BY_CODE[row.quantity], trend_sentence(row)) for row in shown[:ROWS]],
        "more": len(shown) > ROWS,
        "most": ROWS,
        "run": current_run(),
        "quantity": quantity,
        "quantities": [(one.code, one.name) for one in QUANTITIES],
        "kept": f"quantity={quantity}" if quantity else "",
    }
    return render(request, "drift/trends.html", context)


def trend_charts(page: Any) -> list[dict[str, object]]:
    """The small charts of an evidence page, burner by burner."""
    several = len(page.burners) > 1
    return [
        {
            "id": f"trend-{burner.burner.position}-{story.quantity.code}",
            "name": str(story.quantity.name),
            "burner": burner.burner,
            "several": several,
            "story": story,
            "figure": _figure(story),
            "rows": [
                (on, f"{value:.{story.quantity.digits}f}", counts)
                for on, value, counts in reversed(story.readings)
            ],
        }
        for burner in page.burners
        for story in page.trends.get(burner.burner.pk, [])
    ]


def _figure(story: TrendStory) -> dict[str, Any]:
    words = {
        "axis": f"{story.quantity.name}, {story.quantity.unit}",
        "reading": _("as found"),
        "before": _("before a part was fitted"),
        "trend": _("median slope"),
        "interval": _("its 95 % interval"),
    }
    limits = [(limit.value, f"{limit.value:g} · {limit.source}") for limit in story.limits]
    return quantity_chart(story.readings, story.line, limits, words=words)


def _cells(row: BurnerTrend) -> list[Any]:
    site, quantity = row.appliance.plant.site, BY_CODE[row.quantity]
    return [
        row.appliance.tag, str(site.customer), str(site), str(row.appliance.model), str(row.burner),
        row.quantity, quantity.unit, row.readings, row.level, row.slope, row.slope_low, row.slope_high,
        row.step, row.step_on, row.limit, row.limit_source, row.passes_on, row.passes_earliest_on,
    ]  # fmt: skip
