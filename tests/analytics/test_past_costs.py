"""What being off target has cost between visits: by hand, its interval held, in a fixed number of queries."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from scipy.stats import t as student_t

from analytics.costing.past import Interval, past_costs, share_past
from analytics.costing.reckoning import costs_of
from analytics.models import DriftRun
from combustion.balance import o2_from_co2
from combustion.fuels import FUELS
from combustion.gum import Quantity
from fleet.models import GasPrice
from tests import factories as make
from visits.models import Adjustment

FIRST = datetime(2022, 3, 1, 9, tzinfo=UTC)
TODAY = date(2026, 6, 1)
GAS = FUELS["natural_gas"]
DAY = {"flue_temp_c": 85.0, "air_temp_c": 20.0, "return_temp_c": 70.0, "co_ppm": 30.0}
YEAR_KWH = 100.0 * 1500.0
"""Of the factory's appliance: 100 kW, and the hours that are assumed of a boiler."""


@pytest.fixture
def run(db):
    return DriftRun.objects.create(kind="nightly", started_at="2026-06-01T02:00Z", as_of=TODAY)


def burner():
    """An appliance whose targets are 9 % CO2 at both points."""
    appliance = make.ApplianceFactory()
    for point in ("high", "low"):
        make.FiringSpecFactory(model=appliance.model, point=point)
    return appliance


def visited(appliance, days, *, found=None, left=None, moved=False):
    """A visit so many days after the first; CO2 as found and as left at both points, where they were read."""
    at = FIRST + timedelta(days=days)
    visit = make.VisitFactory(
        appliance=appliance, opened_at=at, closed_at=at, local_on=at.date(), outcome="completed"
    )
    for phase, co2 in (("as_found", found), ("as_left", left)):
        for point in ("high", "low") if co2 else ():
            o2 = float(o2_from_co2(co2, GAS, 30.0))
            make.FiringTestFactory(
                visit=visit,
                burner=appliance.burners.get(),
                phase=phase,
                point=point,
                co2_pct=co2,
                o2_pct=o2,
                **DAY,
            )
    if moved:
        Adjustment.objects.create(visit=visit, burner=appliance.burners.get(), key="a", trim="throttle")


def share_lost(run, co2_pct):
    """Of a burner that was found once, with this CO2: by what reckons the present."""
    appliance = burner()
    visited(appliance, (TODAY - FIRST.date()).days - 30, found=co2_pct)
    return float(costs_of([appliance.pk], as_of=TODAY, run=run).lost[0])


def test_the_worked_example_of_three_visits_by_hand(run):
    """Left at 8.0 %, found at 7.6 % two years on, left at 9.0 %, found at 8.6 % one year on."""
    GasPrice.objects.create(
        price_per_kwh=Decimal("0.05"), currency="GBP", in_force_on=date(2026, 1, 1), source="a bill"
    )
    appliance = burner()
    visited(appliance, 0, found=9.2, left=8.0, moved=True)
    visited(appliance, 730.5, found=7.6, left=9.0, moved=True)
    visited(appliance, 1095.75, found=8.6)
    (past,) = past_costs([appliance.pk], run=run, on=TODAY).values()
    left, found, left_again, found_last = (share_lost(run, co2) for co2 in (8.0, 7.6, 9.0, 8.6))
    by_hand = YEAR_KWH * (2.0 * (left + found) / 2.0 + 1.0 * (left_again + found_last) / 2.0)
    assert past.energy_kwh.value == pytest.approx(by_hand, rel=1e-6)
    assert past.energy_kwh.low < by_hand < past.energy_kwh.high
    assert (past.intervals, past.left_out, past.years) == (2, 0, pytest.approx(3.0))
    assert (past.since, past.until) == (date(2022, 3, 1), date(2025, 3, 1))
    assert past.money.value == pytest.approx(0.05 * by_hand, rel=1e-6)
    assert past.co2_kg.value == pytest.approx(GAS.co2_kg_per_kwh_gross * by_hand, rel=1e-6)


def test_as_found_is_as_left_where_no_trim_moved_and_an_unread_end_is_left_out(run):
    appliance = burner()
    visited(appliance, 0, found=8.0)
    visited(appliance, 365.25, found=8.0)
    visited(appliance, 2 * 365.25, found=8.2, moved=True)
    visited(appliance, 3 * 365.25, found=8.0, left=8.8, moved=True)
    visited(appliance, 3.5 * 365.25)
    visited(appliance, 4 * 365.25, found=8.4)
    (past,) = past_costs([appliance.pk], run=run, on=TODAY).values()
    shares = [share_lost(run, co2) for co2 in (8.0, 8.2, 8.8, 8.4)]
    by_hand = shares[0] + (shares[0] + shares[1]) / 2.0 + (shares[2] + shares[3]) / 2.0
    assert past.energy_kwh.value == pytest.approx(YEAR_KWH * by_hand, rel=1e-6)
    # after the third visit the state as left is not known; a visit where nothing was read ends nothing
    assert (past.intervals, past.left_out) == (3, 1)


def test_noise_adds_by_squares_one_error_fully_and_the_course_by_each_interval():
    """By hand: states 0 to 3, two intervals of 1 and 2 years; weights 0.5, 0.5, 1, 1."""
    share = Quantity(
        np.array([0.01, 0.03, 0.02, 0.05]),
        {"own_high": np.full(4, 0.002), "analyser": np.full(4, 0.004), "flue": np.full(4, 0.001)},
    )
    total = share_past(share, np.array([7, 7, 8, 8]), [Interval(0, 1, 1.0), Interval(2, 3, 2.0)])
    assert float(total.value[0]) == pytest.approx(0.02 + 2.0 * 0.035)
    parts = {name: float(part[0]) for name, part in total.parts.items()}
    assert parts == pytest.approx(
        {
            "own_high": 0.002 * np.sqrt(2 * 0.5**2 + 2 * 1.0),
            "analyser 7": 0.004 * 1.0,
            "analyser 8": 0.004 * 2.0,
            "flue": 0.001 * 3.0,
            # of freedom (1 + 8)^2/(1 + 64) = 1.246; t of it at 97.5 % by an independent routine
            "course": np.sqrt(((0.02 * 1.0) ** 2 + (0.03 * 2.0) ** 2) / 12.0)
            * student_t(81.0 / 65.0).ppf(0.975)
            / 1.959964,
        }
    )


@pytest.mark.parametrize("course", ["jump", "walk"])
def test_the_interval_holds_what_was_lost_whichever_way_the_burner_went(course):
    """8 intervals of a year, read with noise; the truth is summed day by day. 95 % are asked, 600 burners."""
    draw, burners, spans, days = np.random.default_rng(5), 600, 8, 200
    end = draw.normal(0.0, 0.02, (burners, spans))
    if course == "jump":
        path = np.where(np.arange(days) >= draw.integers(0, days, (burners, spans, 1)), end[..., None], 0.0)
    else:
        steps = draw.normal(0.0, 0.02 / np.sqrt(days), (burners, spans, days))
        path = steps.cumsum(axis=2)
        end = path[..., -1]
    truth = path.mean(axis=2).sum(axis=1)
    noise = 0.002
    read = np.stack([np.zeros_like(end), end], axis=2).reshape(burners, -1)
    read += draw.normal(0.0, noise, read.shape)
    intervals = [Interval(2 * span, 2 * span + 1, 1.0) for span in range(spans)]
    held = 0
    for row in range(burners):
        share = Quantity(read[row], {"own_high": np.full(2 * spans, noise)})
        total = share_past(share, np.zeros(2 * spans, np.int64), intervals)
        held += bool(abs(float(total.value[0]) - truth[row]) <= 1.96 * float(total.u[0]))
    # a jump is held more often than asked: the interval is as wide as a walk needs
    assert held / burners >= 0.93
    assert course == "jump" or held / burners <= 0.97


def test_many_burners_and_visits_take_as_many_queries_as_one(run):
    one, others = burner(), [burner() for _ in range(3)]
    visited(one, 0, found=8.0)
    visited(one, 365, found=8.2)
    for appliance in others:
        for year in range(5):
            visited(appliance, 365 * year, found=8.0 + 0.1 * year, left=9.0, moved=True)

    def asked(appliances):
        with CaptureQueriesContext(connection) as captured:
            assert len(past_costs([row.pk for row in appliances], run=run, on=TODAY)) == len(appliances)
        return len(captured)

    # burners, tests, analysers, gases (2), biases, shifts, specs, assumptions, prices (2), visits, moves
    assert asked([one]) == asked([one, *others])
