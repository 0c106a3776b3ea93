"""The manager's page: shares with their intervals, leading to the visits behind them."""

from datetime import date, timedelta

import plotly.graph_objects as go
import pytest
import tablib
from django.urls import reverse
from statsmodels.stats.proportion import proportion_confint

from analytics.figures import month_share, share_by_month
from analytics.models import FleetMonth
from tests.web.conftest import TODAY
from tests.web.drift_rows import a_run
from visits.models import Visit


@pytest.mark.parametrize(("outside", "judged"), [(0, 5), (1, 7), (12, 80), (80, 80)])
def test_the_interval_is_wilsons_as_an_independent_library_has_it(outside: int, judged: int) -> None:
    share = month_share(date(2026, 3, 1), judged=judged, outside=outside)
    low, high = proportion_confint(outside, judged, alpha=0.05, method="wilson")
    assert share.low_pct == pytest.approx(100 * low, abs=1e-9)
    assert share.high_pct == pytest.approx(100 * high, abs=1e-9)


def test_the_figure_draws_each_month_with_its_interval() -> None:
    months = [month_share(date(2026, month, 1), judged=10, outside=month) for month in (1, 2)]
    figure = share_by_month(months, words={"share": "out of band", "axis": "visits out of band, %"})
    trace = go.Figure(figure).data[0]
    assert list(trace.y) == [10.0, 20.0]
    assert trace.y[0] - trace.error_y.arrayminus[0] == pytest.approx(months[0].low_pct, abs=0.02)
    assert share_by_month([], words={}) is None


def test_a_months_numbers_lead_to_the_visits_behind_them(fleet, page_of) -> None:
    client = page_of(fleet.manager)
    answer = client.get(reverse("web:condition"))
    judged = Visit.objects.filter(
        health_as_found_full=True, local_on__gte=answer.context["page"].months[0].month
    )
    assert sum(row.judged for row in answer.context["page"].months) == judged.count()
    month = answer.context["page"].months[0].month
    rows = client.get(reverse("web:condition-month", args=[month.year, month.month]))
    assert len(rows.context["page"].rows) == answer.context["page"].months[0].judged
    book = client.get(reverse("web:condition-months"), {"as": "xlsx"}).content
    sheet = tablib.Dataset().load(book, "xlsx")
    shown = [(f"{row.month:%Y-%m}", row.judged) for row in answer.context["page"].months]
    # the year before, which the figure also draws, stands ahead of them
    assert [(line["month"], line["judged"]) for line in sheet.dict][-len(shown) :] == shown
    outside = client.get(reverse("web:condition-month", args=[month.year, month.month]), {"outside": "1"})
    assert len(outside.context["page"].rows) == answer.context["page"].months[0].outside


def test_visits_judged_in_part_are_not_ranked_against_whole_ones(fleet, page_of) -> None:
    Visit.objects.update(health_as_found_full=False)
    answer = page_of(fleet.manager).get(reverse("web:condition"))
    assert answer.context["page"].months == []
    assert "No visit of the last twelve months was judged whole." in answer.text


def test_a_month_that_does_not_exist_is_not_found(fleet, page_of) -> None:
    assert page_of(fleet.manager).get("/condition/2026-13/").status_code == 404


def test_months_that_a_run_has_counted_are_read_from_it_and_narrowed_ones_from_the_visits(
    fleet, page_of
) -> None:
    run = a_run(fleet, TODAY)
    first = TODAY.replace(day=1)
    FleetMonth.objects.all().delete()
    verdicts = {"inside": 60, "probably_inside": 20, "probably_outside": 15, "outside": 5, "not_judged": 3}
    for year in (1, 2):
        month = (first - timedelta(days=40)).replace(day=1)
        FleetMonth.objects.create(run=run, month=month.replace(year=month.year - year + 1), **verdicts)
    answer = page_of(fleet.manager).get(reverse("web:condition"))
    page = answer.context["page"]
    assert [(row.judged, row.outside) for row in page.months[:1]] == [(100, 20)]
    assert page.before[0].share_pct == 20.0
    assert page.verdicts_before["inside"] == 60
    before = next(t for t in answer.context["figure"]["data"] if t["name"] == "the same month a year before")
    assert before["x"] == [page.months[0].month.isoformat()]
    narrowed = page_of(fleet.manager).get(reverse("web:condition"), {"customer": "schools"}).context["page"]
    assert all(row.judged < 100 for row in narrowed.months)
