"""The other trends out of the record: one appliance on asking, the run's list of the fleet, their pages."""

from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from analytics.models import BurnerTrend, DriftPointer, DriftRun
from analytics.quantities import series_read
from analytics.selectors.trends import appliance_trends, trend_sentence, trends_ranked
from analytics.trending import trends_write
from combustion.fuels import FUELS
from combustion.metering import clocked_input
from fleet.models import PartFitted
from people.models import Role
from tests.factories import ApplianceFactory, FiringSpecFactory, FiringTestFactory, UserFactory, VisitFactory

YEARS = range(2018, 2026)


def visited(appliance, values, **more):
    """One closed annual visit a year with one test as found at high fire; values: column to one a year."""
    for place, year in enumerate(YEARS):
        at = datetime(year, 3, 2, 9, tzinfo=UTC)
        visit = VisitFactory(
            appliance=appliance, opened_at=at, local_on=at.date(), closed_at=at, outcome="completed"
        )
        read = {name: column[place] for name, column in values.items()}
        FiringTestFactory(visit=visit, observed_at=at, **read, **more)


@pytest.fixture
def fouled(db):
    """Flue over return rises 2 K a year from 12; inlet pressure steps down 4 mbar; the rest stands still."""
    appliance = ApplianceFactory()
    FiringSpecFactory(model=appliance.model, inlet_pressure_low_mbar=15.0, inlet_pressure_high_mbar=25.0)
    jitter = (0.1, -0.2, 0.0, 0.2, -0.1, 0.1, -0.1, 0.0)
    visited(
        appliance,
        {
            "flue_temp_c": [62.0 + 2.0 * k + jitter[k] for k in range(8)],
            "return_temp_c": [50.0] * 8,
            "inlet_pressure_mbar": [20.0 + jitter[k] - 4.0 * (k >= 5) for k in range(8)],
            "flame_signal_ua": [5.0 + jitter[k] / 10 for k in range(8)],
            "co_ppm": [20.0] * 8,
            "o2_pct": [4.19] * 8,
            "gas_rate_m3_h": [9.5] * 8,
        },
    )
    return appliance


def told(appliance):
    (stories,) = appliance_trends(appliance.pk, safety={"co_air_free_ppm": 400.0}).values()
    return {story.quantity.code: story for story in stories}


def test_an_appliance_is_told_slope_step_and_when_a_limit_is_passed(fouled):
    stories = told(fouled)
    assert stories.keys() == {
        "approach_k", "rate_pct", "flame_signal_ua", "inlet_pressure_mbar", "co_air_free_ppm",
    }  # fmt: skip
    approach = stories["approach_k"]
    assert approach.surely
    assert "+2.0" in approach.sentence
    # 12 + 2 a year from March 2018 reaches 30 K nine years on
    assert "passes 30 K (common practice, no source) about Mar 2027" in approach.sentence
    (start, end) = approach.line
    assert (start[0].year, end[0].year) == (2018, 2026)
    assert end[2] < end[1] < end[3]
    pressure = stories["inlet_pressure_mbar"]
    assert "level changed by −4.0" in pressure.sentence
    assert "by 2 Mar 2023" in pressure.sentence
    assert {limit.value for limit in pressure.limits} == {15.0, 25.0}
    assert not stories["flame_signal_ua"].surely
    # air-free by hand: 20 ppm x 20.95 / (20.95 - 4.19) = 25 ppm
    assert stories["co_air_free_ppm"].readings[0][1] == pytest.approx(25.0, abs=0.02)
    assert stories["co_air_free_ppm"].limits[0].value == 400.0
    # of 100 kW on the nameplate, so the same figure as the clocked meter's gross kW at 15 °C and 1013 hPa
    clocked = clocked_input(9.5, 3600.0, FUELS["natural_gas"])
    assert stories["rate_pct"].readings[0][1] == pytest.approx(float(clocked.gross_kw), rel=1e-3)


def test_a_fitted_part_begins_the_trend_afresh_and_kept_out_tests_are_left_out(fouled):
    PartFitted.objects.create(
        burner=fouled.burners.get(), part="heat exchanger", fitted_at=datetime(2023, 6, 1, tzinfo=UTC)
    )
    story = told(fouled)["approach_k"]
    assert [counts for _, _, counts in story.readings] == [False] * 6 + [True] * 2
    assert "too few readings" in story.sentence
    fouled.visits.first().firingtests.update(kept_out="probe_out")
    assert len(told(fouled)["approach_k"].readings) == 7


def test_the_number_of_queries_is_the_same_for_one_appliance_as_for_many(fouled):
    visited(ApplianceFactory(), {"fan_rpm": [5000.0] * 8})
    counts = []
    for ids in ([fouled.pk], None):
        with CaptureQueriesContext(connection) as queries:
            series_read(ids)
        counts.append(len(queries))
    assert counts[0] == 1
    assert counts[1] <= 2  # PostgreSQL copies


def test_the_run_keeps_what_is_of_consequence_and_the_pages_show_it(fouled, client, monkeypatch):
    run = DriftRun.objects.create(
        kind=DriftRun.Kind.COMMAND, started_at=timezone.now(), as_of=date(2025, 4, 1)
    )
    visited(ApplianceFactory(), {"fan_rpm": [5000.0] * 8, "flame_signal_ua": [4.0] * 8})
    sooty = ApplianceFactory()
    visited(sooty, {"co_ppm": [10.0 + 9.0 * k for k in range(8)], "o2_pct": [4.19] * 8})
    for _ in range(2):
        assert trends_write(run) == 3
    DriftPointer.objects.update_or_create(only=1, defaults={"current": run})
    manager = UserFactory(role=Role.MANAGER)
    first, carbon, second = trends_ranked(user=manager)
    assert (first.quantity, second.quantity) == ("inlet_pressure_mbar", "approach_k")
    assert (carbon.quantity, carbon.passes_on) == ("co_air_free_ppm", None)
    assert (carbon.limit, carbon.limit_source) == (200.0, "safety limit, investigate")
    assert first.step == pytest.approx(-4.0, abs=0.3)
    assert f"changed by −{abs(first.step):.1f} mbar" in trend_sentence(first)
    assert first.step_on == date(2023, 3, 2)
    assert second.slope == pytest.approx(2.0, abs=0.1)
    assert (second.limit, second.passes_on.year) == (30.0, 2027)
    assert second.passes_earliest_on <= second.passes_on
    assert not trends_ranked(user=UserFactory(role=Role.CONTACT)).exists()

    client.force_login(manager)
    page = client.get("/drift/trends/?quantity=approach_k").content.decode()
    assert fouled.tag in page
    assert "Working inlet pressure:" not in page
    assert "200 ppm, safety limit, investigate" in client.get("/drift/trends/").content.decode()
    theirs = {"customer": sooty.plant.site.customer.name}
    assert [seen.row.pk for seen in client.get("/drift/trends/", theirs).context["rows"]] == [carbon.pk]
    monkeypatch.setattr("web.views.drift.trends.ROWS", 2)
    page = client.get("/drift/trends/").context
    assert [seen.row.pk for seen in page["rows"]] == [first.pk, carbon.pk]
    page = client.get("/drift/trends/", {"after": page["after"]}).context
    assert ([seen.row.pk for seen in page["rows"]], page["after"]) == ([second.pk], "")
    answer = client.get("/api/v1/drift/trends/", {"appliance": fouled.uuid, "quantity": "approach_k"})
    (told,) = answer.json()["results"]
    assert (told["slope"], told["unit"]) == (pytest.approx(second.slope), "K")
    sheet = client.get("/drift/trends/?as=csv").getvalue().decode()
    assert sheet.splitlines()[1].split(",")[5] == "inlet_pressure_mbar"
    assert client.get("/drift/trends/?as=xlsx").status_code == 200
    evidence = client.get(f"/appliances/{fouled.pk}/drift/").content.decode()
    assert 'id="trend-1-approach_k-head"' in evidence
    assert "passes 30 K" in evidence
    assert BurnerTrend.objects.count() == 3
