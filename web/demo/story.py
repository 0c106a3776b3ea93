"""What the demo plants, and where: a fleet of 250 appliances in which each thing can be found."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from web.demo import names
from web.demo.catalogue import MODELS, model_named
from web.demo.lives import Lives, draw_lives, live
from web.demo.places import add_appliance, invent_customer, invent_plants, invent_site, random_uuid
from web.demo.plan import (
    AppliancePlan,
    AttendancePlan,
    ChangePlan,
    CustomerPlan,
    PlantPlan,
    VisitPlan,
    appliances_of,
    plants_of,
)
from web.demo.schedule import invent_last_day, schedule_plant, working_day
from web.demo.truth import DemoTruth, GasChange, PeriodTruth, PlantedVisit, TrimTruth
from web.demo.world import Magnitudes, PeriodPlan, TechnicianPlan, World, invent_world

YEARS = 8
SITES = 90
AREAS = 4
TECHNICIANS = 7
TECHNICIAN_LOGIN = "technician@tarnholt.example"
DEMO_MAGNITUDES = Magnitudes(wander_share=0.0, bias_co2_pct=0.08, faulty_share=0.0, gas=0.004)
WANDER_RATIO = 8.0
WALKED_LEAST = 0.7
"""Share of its planned movement that a planted wanderer must have walked, else the dice are thrown again: one
that happens to stand still shows nothing."""
NORMAL_MEDIAN = 0.6745
"""Median of a standard normal's absolute value."""
THROWS = 200
WANDERING = ("throttle", "throttle", "throttle", "throttle", "offset", "offset")
DRIFTING = (("throttle", 0.025), ("throttle", -0.025), ("offset", 1.2))
"""Trim and its steady change per year: ln K, or Pa."""
AGEING_MODEL = "OL-90"
ANALYSER_OFF, BIAS_OFF_CO2_PCT = 2, 0.45
GAS_CHANGED_AREA, GAS_SHIFT_LN = 1, 0.028
CO_UPSET_LN = 0.19
"""Takes a burner from its target to near stoichiometric: a blocked exchanger starves it of air."""


@dataclass(repr=False)
class DemoPlan:
    """The demo, lived but not written."""

    world: World
    customers: list[CustomerPlan]
    lives: Lives
    truth: DemoTruth


def demo_truth(*, seed: int, today: date) -> DemoTruth:
    """What `make_demo` plants for this seed and day."""
    return plan_demo(seed=seed, today=today).truth


def plan_demo(*, seed: int, today: date) -> DemoPlan:
    """The whole demo from a seed and a day."""
    draw = random.Random(f"demo {seed}")  # noqa: S311  the demo must be the same for the same seed
    world, change = _world(seed, today)
    customers, two_burner = _places(draw, world)
    cast = _Cast(draw, world, customers)
    planted = _plant_events(draw, world, cast)
    lives = _lived(seed, draw, world, list(appliances_of(customers)))
    analyser = world.analysers[ANALYSER_OFF]
    periods = {plan.tag: _period_truths(plan.tag, plan.periods) for plan in world.analysers}
    truth = DemoTruth(
        seed=seed,
        today=today,
        trims=tuple(_trim_truths(lives)),
        ageing_model=AGEING_MODEL,
        analyser_periods=tuple(period for rows in periods.values() for period in rows),
        analyser_off=next(p for p in periods[analyser.tag] if p.bias_co2_pct == BIAS_OFF_CO2_PCT),
        gas_change=change,
        two_burner=two_burner.tag,
        not_premix=tuple(a.tag for a in lives.appliances if not a.model.premix),
        licence_ending=world.technicians[1].username,
        licence_ends_on=today + timedelta(days=18),
        calibration_ending=world.analysers[4].tag,
        calibration_due_on=today + timedelta(days=11),
        turn_sensitivity={
            card.name: {trim.kind: trim.per_turn for trim in card.trims} for card in MODELS if card.trims
        },
        **planted,  # type: ignore[arg-type]
    )
    return DemoPlan(world, customers, lives, truth)


def _lived(seed: int, draw: random.Random, world: World, appliances: list[AppliancePlan]) -> Lives:
    """The lives of all burners, thrown again until every planted wanderer has walked."""
    for throw in range(THROWS):
        numbers = np.random.default_rng([seed, 2, throw])
        lives = draw_lives(appliances, world, numbers)
        _plant_trims(draw, world, lives)
        live(lives, world, numbers)
        if _all_walked(lives):
            return lives
    raise RuntimeError(f"seed {seed}: after {THROWS} throws some planted wanderer still stands still")


def _all_walked(lives: Lives) -> bool:
    """The usual movement from visit to visit of each planted trim against what was planned for a year.

    By the median: one leap in years of standing still is a jump, and no wander.
    """
    state = lives.history.state
    planned = np.stack([lives.burners.spread_ln_k, lives.burners.spread_pa], axis=1)
    for row, trim in np.argwhere(lives.wanders).tolist():
        move = state[row, 1:, 0, trim] - state[row, :-1, 1, trim]
        walked = np.nanmedian(np.abs(move)) / NORMAL_MEDIAN
        if not walked >= WALKED_LEAST * planned[row, trim]:
            return False
    return True


def _world(seed: int, today: date) -> tuple[World, GasChange]:
    world = invent_world(
        seed=seed,
        today=today,
        years=YEARS,
        areas=AREAS,
        technicians=TECHNICIANS,
        spare_analysers=2,
        magnitudes=DEMO_MAGNITUDES,
    )
    world.technicians[0].username = TECHNICIAN_LOGIN
    world.technicians[1].licence_ends_on = today + timedelta(days=18)
    trainee = names.TRAINEE.lower().replace(" ", ".") + "@tarnholt.example"
    world.technicians.append(TechnicianPlan(trainee, names.TRAINEE, 0, licensed=False))
    world.analysers[ANALYSER_OFF].periods[-3].bias_co2_pct = BIAS_OFF_CO2_PCT
    world.analysers[4].periods[-1].due_on = today + timedelta(days=11)
    changed_on = (today - timedelta(days=30 * 30)).replace(day=1)
    world.gas_ln[GAS_CHANGED_AREA, world.month(changed_on) :] += GAS_SHIFT_LN
    return world, GasChange(world.areas[GAS_CHANGED_AREA].name, changed_on, GAS_SHIFT_LN)


def _places(draw: random.Random, world: World) -> tuple[list[CustomerPlan], AppliancePlan]:
    customers = [invent_customer(draw, world, number) for number in range(len(names.CUSTOMERS))]
    for number in range(SITES):
        site = invent_site(draw, world, customers[number % len(customers)], number)
        invent_plants(draw, world, site, room=99, years=YEARS)
    host = next(
        plant for plant in plants_of(customers) if plant.site.area == 0 and len(plant.appliances) == 2
    )
    number = 1 + sum(len(plant.appliances) for plant in host.site.plants)
    installed = world.today - timedelta(days=3900)
    return customers, add_appliance(draw, host, model_named("BH-2x200"), number, installed)


class _Cast:
    """Hands each event a plant of its own, and schedules the rest of the year around them."""

    def __init__(self, draw: random.Random, world: World, customers: list[CustomerPlan]) -> None:
        self._draw = draw
        self._world = world
        self._free = [
            plant
            for plant in plants_of(customers)
            if plant.site.customer.rule == "from_last_done" and not plant.site.customer.avoid_months
        ]
        draw.shuffle(self._free)
        self._last_on: dict[int, date] = {}
        self._rest = list(plants_of(customers))

    def pick(self, days_ago: int, fits: Callable[[PlantPlan], bool] = lambda plant: True) -> PlantPlan:
        """A plant for an event, its last attendance that many days ago (a working day)."""
        plant = next(plant for plant in self._free if fits(plant))
        self._free.remove(plant)
        self._last_on[id(plant)] = working_day(self._world.today - timedelta(days=days_ago))
        return plant

    def schedule(self) -> None:
        """Give every plant its attendances."""
        for plant in self._rest:
            last_on = self._last_on.get(id(plant)) or invent_last_day(
                self._draw, self._world, plant.site.customer
            )
            schedule_plant(self._draw, self._world, plant, last_on, YEARS)


def _plant_events(draw: random.Random, world: World, cast: _Cast) -> dict[str, object]:
    """Choose plants, schedule everything, then bend the last attendances of the chosen."""
    lag = cast.pick(20, lambda p: len(p.appliances) >= 2 and _settled_in(p) and p.site.area is not None)
    starved = cast.pick(12, lambda p: _settled_in(p) and p.appliances[0].model.premix)
    unreached = [cast.pick(days, _settled_in) for days in (9, 16)]
    waiting = [cast.pick(days, _settled_in) for days in (14, 25)]
    unloaded = cast.pick(18, lambda p: _settled_in(p) and p.appliances[0].model.premix)
    unsigned = cast.pick(6, lambda p: len(p.appliances) == 1 and _settled_in(p))
    overdue = [cast.pick(400 + 17 * number, _settled_in) for number in range(5)]
    today = [cast.pick(358 + 2 * number, _settled_in) for number in range(3)]
    tomorrow = [cast.pick(356 + 2 * number, _settled_in) for number in range(2)]
    later = [cast.pick(352 + number, _settled_in) for number in range(4)]
    cast.schedule()
    _book(draw, world, today, tomorrow, later)
    return {
        "lag_left_enabled": _lag_left_enabled(lag),
        "co_make_safe": _co_make_safe(starved),
        "no_access": tuple(_not_reached(plant) for plant in unreached),
        "part_needed": tuple(_part_needed(plant) for plant in waiting),
        "no_heat_load": _no_heat_load(unloaded),
        "uncountersigned": _uncountersigned(world, unsigned),
        "overdue": tuple(appliance.tag for plant in overdue for appliance in plant.appliances),
        "booked_today": tuple(a.tag for plant in today for a in plant.appliances),
        "booked_tomorrow": tuple(a.tag for plant in tomorrow for a in plant.appliances),
    }


def _settled_in(plant: PlantPlan) -> bool:
    """Every appliance has been seen for some years before its last attendance."""
    seen_since = plant.site.customer.starts_on + timedelta(days=365 * (YEARS - 2))
    return all(appliance.installed_on < seen_since for appliance in plant.appliances)


def _planted(visit: VisitPlan) -> PlantedVisit:
    return PlantedVisit(visit.appliance.tag, str(visit.uuid))


def _lag_left_enabled(plant: PlantPlan) -> PlantedVisit:
    visit = plant.attendances[-1].visits[1]
    visit.changes.append(
        ChangePlan("lag boiler", "off, standby in the cascade", "enabled on its own", put_back=False)
    )
    return _planted(visit)


def _co_make_safe(plant: PlantPlan) -> PlantedVisit:
    visit = plant.attendances[-1].visits[0]
    visit.outcome, visit.may_adjust, visit.only_point = "left_off", False, "high"
    visit.upset_ln = CO_UPSET_LN
    visit.notes = "High CO as found at high fire. Made safe and left off, gas isolated, customer told."
    visit.appliance.safety_state = "left_off"
    return _planted(visit)


def _not_reached(plant: PlantPlan) -> PlantedVisit:
    attendance = plant.attendances[-1]
    for visit in attendance.visits:
        visit.outcome, visit.reads, visit.changes = "no_access", False, []
        visit.notes = "Gate locked, nobody answered."
    return _planted(attendance.visits[0])


def _part_needed(plant: PlantPlan) -> PlantedVisit:
    visit = plant.attendances[-1].visits[0]
    visit.outcome, visit.may_adjust = "part_needed", False
    visit.notes = "Fan bearing noisy; a fan is on order."
    return _planted(visit)


def _no_heat_load(plant: PlantPlan) -> PlantedVisit:
    visit = plant.attendances[-1].visits[0]
    visit.outcome, visit.may_adjust, visit.only_point = "no_heat_load", False, "low"
    visit.notes = "No heat load: high fire could not be held."
    return _planted(visit)


def _uncountersigned(world: World, plant: PlantPlan) -> PlantedVisit:
    attendance = plant.attendances[-1]
    attendance.technician = len(world.technicians) - 1
    visit = attendance.visits[0]
    visit.countersigned = False
    return _planted(visit)


def _book(
    draw: random.Random,
    world: World,
    today: list[PlantPlan],
    tomorrow: list[PlantPlan],
    later: list[PlantPlan],
) -> None:
    """Attendances of the demo technician today and tomorrow, and of colleagues in the days after."""
    places = [(plant, 0, 0, position) for position, plant in enumerate(today)]
    places += [(plant, 1, 0, position) for position, plant in enumerate(tomorrow)]
    places += [(plant, 2 + number, 1 + number % 3, 0) for number, plant in enumerate(later)]
    for plant, days, technician, position in places:
        plant.attendances.append(
            AttendancePlan(
                plant=plant,
                on=world.today + timedelta(days=days),
                technician=technician,
                analyser=technician,
                start_minute=8 * 60 + 30 + 150 * position,
                uuid=random_uuid(draw),
                position=position,
                booked=True,
            )
        )


def _plant_trims(draw: random.Random, world: World, lives: Lives) -> None:
    """A few trims wander, a few drift steadily; the ageing model's drift is in its card."""
    candidates = [
        appliance
        for appliance in lives.appliances
        if appliance.model.premix
        and appliance.model.burners == 1
        and appliance.model.name not in (AGEING_MODEL, "BH-45")
        and appliance.plant.site.area not in (None, GAS_CHANGED_AREA)
        and sum(visit.reads for visit in appliance.visits) >= YEARS - 1
    ]
    chosen = iter(draw.sample(candidates, len(WANDERING) + len(DRIFTING)))
    for trim in WANDERING:
        row = lives.first_burner[next(chosen).tag]
        which = 0 if trim == "throttle" else 1
        lives.wanders[row, which] = True
        spread = lives.burners.spread_pa if which else lives.burners.spread_ln_k
        usual = world.magnitudes.offset_spread_pa if which else world.magnitudes.throttle_spread
        spread[row] = WANDER_RATIO * usual
    for trim, per_year in DRIFTING:
        row = lives.first_burner[next(chosen).tag]
        (lives.burners.drift_ln_k if trim == "throttle" else lives.burners.drift_pa)[row] = per_year


def _trim_truths(lives: Lives) -> list[TrimTruth]:
    burners = lives.burners
    truths = []
    for appliance in lives.appliances:
        if not appliance.model.premix:
            continue
        first = lives.first_burner[appliance.tag]
        for row in range(first, first + appliance.model.burners):
            for which, (trim, drift, spread, scale) in enumerate(
                (
                    ("throttle", burners.drift_ln_k, burners.spread_ln_k, 100.0),
                    ("offset", burners.drift_pa, burners.spread_pa, 1.0),
                )
            ):
                truths.append(
                    TrimTruth(
                        appliance=appliance.tag,
                        burner=row - first + 1,
                        trim=trim,
                        drift_per_year=round(scale * float(drift[row]), 4),
                        spread=round(scale * float(spread[row]), 4),
                        wanders=bool(lives.wanders[row, which]),
                    )
                )
    return truths


def _period_truths(tag: str, periods: list[PeriodPlan]) -> list[PeriodTruth]:
    ends = [period.starts_on for period in periods[1:]] + [None]
    return [
        PeriodTruth(tag, period.starts_on, end, period.bias_co2_pct)
        for period, end in zip(periods, ends, strict=True)
    ]
