"""An appliance's page, and its story as a file."""

from collections.abc import Iterator

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from analytics.figures import Counted, Figure, StoryRow, story, story_counts
from web.access import EVERYONE, PersonRequest, page_for
from web.selectors.appliance import AppliancePage, BurnerStory, appliance_page
from web.selectors.drift.story import DriftOfAppliance, drift_of
from web.sheets import file_asked, sheet_response

STORY_COLUMNS = [
    "burner",
    "visit",
    "local_on",
    "firing_point",
    "found_co2_pct",
    "u_found_co2_pct",
    "left_co2_pct",
    "u_left_co2_pct",
    "target_low_co2_pct",
    "target_high_co2_pct",
    "accept_low_co2_pct",
    "accept_high_co2_pct",
    "expected_co2_pct",
    "expected_low_co2_pct",
    "expected_high_co2_pct",
]


@page_for(EVERYONE)
@require_safe
def appliance(request: PersonRequest, pk: int) -> HttpResponse:
    """Nameplate, what it should give, what was found and left over the years, and when it is due."""
    page = appliance_page(user=request.user, pk=pk)
    drift = drift_of(user=request.user, appliance=page.appliance, visits=page.visits)
    charts = [_chart(page, burner, drift) for burner in page.burners]
    context = {"page": page, "appliance": page.appliance, "charts": charts, "drift": drift}
    return render(request, "fleet/appliance.html", context)


@page_for(EVERYONE)
@require_safe
def appliance_story(request: PersonRequest, pk: int) -> HttpResponseBase:
    """The numbers of the figure as a file: every value in SI, whatever the reader's screens show."""
    page = appliance_page(user=request.user, pk=pk)
    drift = drift_of(user=request.user, appliance=page.appliance, visits=page.visits)
    rows = _story_rows(page, drift)
    return sheet_response(f"appliance-{pk}-story", file_asked(request) or "csv", STORY_COLUMNS, rows)


def _chart(page: AppliancePage, burner: BurnerStory, drift: DriftOfAppliance) -> dict[str, object]:
    words = {
        "found": _("as found"),
        "left": _("as left"),
        "target": _("target band"),
        "accept_low": _("acceptance, lower"),
        "accept_high": _("acceptance, upper"),
        "due": _("next due"),
        "axis": _("CO2, dry vol %"),
        "expected": _("expected from gas, season, analyser"),
        "ahead": _("where it may stand if nobody attends"),
        "moved": _("trim moved"),
    }
    layers = drift.layers[burner.burner.pk]
    figure: Figure | None = story(burner.rows, words=words, due_on=page.appliance.next_due_on, layers=layers)
    counts: list[Counted] = story_counts(burner.rows)
    rows = sorted(burner.rows, key=lambda row: (row.on, row.point_text), reverse=True)
    return {
        "burner": burner.burner,
        "figure": figure,
        "figure_id": f"figure-{burner.burner.position}",
        "counts": counts,
        "rows": [(row, layers.expected_of(row.point, row.on)) for row in rows],
        "trims": drift.trims.get(burner.burner.pk, []),
        "layers": layers,
    }


def _story_rows(page: AppliancePage, drift: DriftOfAppliance) -> Iterator[list[object]]:
    for burner in page.burners:
        for row in sorted(burner.rows, key=lambda row: (row.on, row.point_text)):
            expected = drift.layers[burner.burner.pk].expected_of(row.point, row.on)
            reach = [expected.middle, expected.low, expected.high] if expected else [None] * 3
            yield [str(burner.burner), *_story_cells(row), *reach]


def _story_cells(row: StoryRow) -> list[object]:
    target, accept = row.target_co2_pct or (None, None), row.accept_co2_pct or (None, None)
    return [
        str(row.visit_uuid),
        row.on,
        row.point_text,
        row.found_co2_pct,
        row.u_found_co2_pct,
        row.left_co2_pct,
        row.u_left_co2_pct,
        *target,
        *accept,
    ]
