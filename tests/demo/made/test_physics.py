"""The generator's physics: what was planted can be read from the record, and only from there."""

from datetime import date, timedelta

import numpy as np
import pytest

from tests.demo.made.conftest import SEED, TODAY, MadeDemo
from visits.models import FiringTest
from web.demo.lives import bias_of
from web.demo.physics import FUEL_SLUGS, co2_of, points
from web.demo.plan import VisitPlan
from web.demo.story import DemoPlan, plan_demo
from web.demo.truth import DemoTruth
from web.demo.world import World

pytestmark = pytest.mark.xdist_group("the demo, made once")


def steps(truth: DemoTruth) -> list[tuple[str, date, float]]:
    """High fire: CO2 as found minus CO2 last left, less the analysers' true bias, with tag and day."""
    bias = {(period.analyser, period.starts_on): period.bias_co2_pct for period in truth.analyser_periods}
    tests = FiringTest.objects.filter(
        point="high", burner__appliance__model__ratio_control="pneumatic_premix"
    ).order_by("burner_id", "visit__opened_at", "sequence")
    found_steps: list[tuple[str, date, float]] = []
    last: dict[int, float] = {}
    for test in tests.select_related("visit__appliance", "visit__analyser_period__analyser"):
        period = test.visit.analyser_period
        co2_pct = test.co2_pct - bias[period.analyser.tag, period.starts_on]
        if test.phase == "as_found" and test.burner_id in last:
            found_steps.append(
                (test.visit.appliance.tag, test.visit.local_on, co2_pct - last[test.burner_id])
            )
        last[test.burner_id] = co2_pct
    return found_steps


def test_complete_combustion_of_propane_balances_by_hand(demo_plan: DemoPlan) -> None:
    """C3H8 + 5 O2: dry flue gas per mole is 3 CO2 + (λ - 1) 5 O2 + λ 5 x 79.05/20.95 N2. COMPUTED here."""
    burners = demo_plan.lives.burners
    rows = burners.fuel == FUEL_SLUGS.index("propane")
    phi = np.full((len(burners), 1), 0.75)
    air_ratio = 1.0 / 0.75
    dry = 3.0 + (air_ratio - 1.0) * 5.0 + air_ratio * 5.0 * 79.05 / 20.95
    assert rows.any()
    np.testing.assert_allclose(co2_of(burners, phi)[rows], 100.0 * 3.0 / dry, rtol=1e-6)


def test_throttle_moves_both_points_and_offset_mostly_low_fire(demo_plan: DemoPlan) -> None:
    """What common practice knows of the two trims; common practice, no source."""
    burners = demo_plan.lives.burners
    premix = burners.movable.all(axis=1)
    state = (burners.ln_k, burners.offset_pa, np.zeros(len(burners)))
    base = np.log(points(burners, *state))[premix]
    throttle = np.log(points(burners, state[0] + 0.01, *state[1:]))[premix] - base
    offset = np.log(points(burners, state[0], state[1] + 1.0, state[2]))[premix] - base
    np.testing.assert_allclose(throttle[:, :2], 0.01, atol=1e-9)
    ratio = offset[:, 1] / offset[:, 0]
    np.testing.assert_allclose(ratio, burners.turndown[premix] ** 2, rtol=0.35)


def test_analyser_shows_truth_plus_the_bias_of_its_period(demo_plan: DemoPlan) -> None:
    lives, world = demo_plan.lives, demo_plan.world
    off = demo_plan.truth.analyser_off
    truth = co2_of(lives.burners, np.nan_to_num(lives.history.phi, nan=0.7))
    error = lives.history.co2_read - truth
    by_period: dict[bool, list[float]] = {True: [], False: []}
    for appliance in lives.appliances:
        row = lives.first_burner[appliance.tag]
        for position, visit in enumerate(appliance.visits):
            if visit.reads:
                by_period[_is(off.analyser, off.starts_on, world, visit)].append(error[row, position, 0, 0])
                assert abs(error[row, position, 0, 0] - bias_of(world, visit)) < 0.4
    assert np.mean(by_period[True]) == pytest.approx(off.bias_co2_pct, abs=0.05)
    assert abs(np.mean(by_period[False])) < 0.05


def _is(tag: str, starts_on: date, world: World, visit: VisitPlan) -> bool:
    analyser = world.analysers[visit.attendance.analyser]
    period = analyser.periods[analyser.period_on(visit.attendance.on)]
    return (analyser.tag, period.starts_on) == (tag, starts_on)


@pytest.mark.django_db
def test_wandering_throttles_move_far_more_than_their_peers(demo: MadeDemo) -> None:
    wandering = {trim.appliance for trim in demo.truth.wanderers if trim.trim == "throttle"}
    spread: dict[bool, list[float]] = {True: [], False: []}
    for tag, _, step in steps(demo.truth):
        spread[tag in wandering].append(step)
    assert len(wandering) == 4
    assert np.std(spread[True]) > 2.0 * np.std(spread[False])


@pytest.mark.django_db
def test_the_gas_of_one_area_changed_for_good(demo: MadeDemo, demo_plan: DemoPlan) -> None:
    change = demo.truth.gas_change
    area_of = {
        appliance.tag: appliance.plant.site.area
        for appliance in demo_plan.lives.appliances
        if appliance.fuel == "natural_gas"
    }
    changed = next(i for i, area in enumerate(demo_plan.world.areas) if area.name == change.area)
    moved: dict[bool, list[float]] = {True: [], False: []}
    for tag, day, step in steps(demo.truth):
        if tag in area_of and change.from_on <= day < change.from_on + timedelta(days=330):
            moved[area_of[tag] == changed].append(step)
    difference = np.median(moved[True]) - np.median(moved[False])
    # the step itself, and what the gas of those months did beside it against the year before
    gas, first = demo_plan.world.gas_ln, demo_plan.world.month(change.from_on)
    year = gas[:, first : first + 11].mean(axis=1) - gas[:, first - 12 : first - 1].mean(axis=1)
    expected = 9.8 * (year[changed] - np.delete(year, changed).mean())
    assert expected == pytest.approx(9.8 * change.shift_ln, abs=0.15)
    assert difference == pytest.approx(expected, abs=0.12)


@pytest.mark.django_db
def test_adjusted_points_are_left_near_their_target(demo: MadeDemo) -> None:
    left = FiringTest.objects.filter(
        phase="as_left",
        point="high",
        visit__adjustments__trim="throttle",
        burner__appliance__model__firing_specs__point="high",
        burner__appliance__model__firing_specs__fuel="natural_gas",
        fuel="natural_gas",
    ).values_list(
        "co2_pct",
        "burner__appliance__model__firing_specs__target_low_co2_pct",
        "burner__appliance__model__firing_specs__target_high_co2_pct",
    )
    error = [co2 - (low + high) / 2.0 for co2, low, high in left]
    assert len(error) > 50
    assert abs(np.mean(error)) < 0.05
    assert np.std(error) < 0.15


def test_same_seed_gives_the_same_fleet_and_another_seed_another(demo_plan: DemoPlan) -> None:
    again = plan_demo(seed=SEED, today=TODAY)
    other = plan_demo(seed=SEED + 1, today=TODAY)
    assert again.truth == demo_plan.truth
    np.testing.assert_array_equal(again.lives.columns, demo_plan.lives.columns)
    assert other.truth.wanderers != demo_plan.truth.wanderers


def test_thirty_seeds_on_thirty_days_all_make_a_demo() -> None:
    for number in range(30):
        day = TODAY + timedelta(days=41 * number)
        plan = plan_demo(seed=100 + number, today=day)
        tags = [appliance.tag for appliance in plan.lives.appliances]
        assert len(set(tags)) == len(tags)
        for appliance in plan.lives.appliances:
            days = [visit.attendance.on for visit in appliance.visits]
            assert days == sorted(days)
            assert all(visit_day <= day for visit_day in days)
