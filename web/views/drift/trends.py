"""What fouling and wear move: the fleet's list, and one appliance's small charts."""

from dataclasses import dataclass
from typing import Any

from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from analytics.exports import TREND_COLUMNS, trend_cells
from analytics.figures import quantity_chart
from analytics.models import BurnerTrend
from analytics.quantities import BY_CODE, Scale
from analytics.selectors.trends import TrendStory, trend_sentence, trends_ranked
from analytics.services import current_run
from fleet.units import units_of
from web.access import OFFICE, PersonRequest, page_for
from web.forms.drift import TrendFilterForm
from web.paging import page_by_value
from web.selectors.due import SITE
from web.sheets import file_asked, sheet_response

ROWS = 50
FILE_ROWS = 20_000
COLUMNS = ("customer", "site", "model", *TREND_COLUMNS)


@page_for(OFFICE)
@require_safe
def trends(request: PersonRequest) -> HttpResponseBase:
    """Burners whose quantities surely trend or have stepped, the strongest first, page by page."""
    form, filters = TrendFilterForm.chosen(request.GET)
    found = filters.place.narrow(trends_ranked(user=request.user, quantity=filters.quantity), SITE)
    if file := file_asked(request):
        return sheet_response("trends", file, COLUMNS, (_cells(row) for row in found[:FILE_ROWS]))
    page = page_by_value(found, "strength", request.GET.get("after", ""), size=ROWS)
    context = {
        "form": form,
        "rows": [_seen(row, units_of(request.user)) for row in page.rows],
        "after": page.after,
        "run": current_run(),
        "kept": filters.as_query(),
    }
    return render(request, "drift/trends.html", context)


@dataclass(frozen=True)
class Seen:
    """One row of the list, its numbers in the reader's scale."""

    row: BurnerTrend
    scale: Scale
    sentence: str
    level: float
    limit: float | None


def _seen(row: BurnerTrend, units: str) -> Seen:
    scale = BY_CODE[row.quantity].scale(units)
    limit = None if row.limit is None else row.limit * scale.factor
    return Seen(row, scale, trend_sentence(row, units=units), row.level * scale.factor, limit)


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
                (on, f"{value:.{story.scale.digits}f}", counts)
                for on, value, counts in reversed(story.readings)
            ],
        }
        for burner in page.burners
        for story in page.trends.get(burner.burner.pk, [])
    ]


def _figure(story: TrendStory) -> dict[str, Any]:
    words = {
        "axis": f"{story.quantity.name}, {story.scale.unit}",
        "reading": _("as found"),
        "before": _("before a part was fitted"),
        "trend": _("median slope"),
        "interval": _("its 95 % interval"),
    }
    limits = [(limit.value, f"{limit.value:.4g} · {limit.source}") for limit in story.limits]
    return quantity_chart(story.readings, story.line, limits, words=words)


def _cells(row: BurnerTrend) -> list[Any]:
    appliance = row.appliance
    site = appliance.plant.site
    return [str(site.customer), str(site), str(appliance.model), *trend_cells(row)]
