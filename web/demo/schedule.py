"""Invents who came when: annual attendances back from the last one, and the visits they held."""

from __future__ import annotations

import random
import uuid
from datetime import UTC, date, datetime, time, timedelta

from web.demo.places import random_uuid
from web.demo.plan import AttendancePlan, ChangePlan, CustomerPlan, PlantPlan, VisitPlan
from web.demo.world import World

HOME_SHARE = 0.8
"""Share of attendances by a technician of the area, with the technician's own analyser."""
NO_ACCESS_SHARE = 0.015
PART_NEEDED_SHARE = 0.01
MINUTES_PER_VISIT = 80
PARTS = ("fan", "gas valve", "burner", "ignition electrode set", "control board")


def schedule_plant(draw: random.Random, world: World, plant: PlantPlan, last_on: date, years: int) -> None:
    """Every annual attendance from the last one back to the first year, with its visits."""
    days = annual_days(draw, plant.site.customer, last_on, world.today - timedelta(days=int(365.25 * years)))
    for position, day in enumerate(days):
        recent = position == len(days) - 1
        outcome = "completed"
        if not recent and draw.random() < NO_ACCESS_SHARE:
            outcome = "no_access"
        attendance = attend(draw, world, plant, day, outcome=outcome)
        if outcome == "no_access":
            attend(draw, world, plant, working_day(day + timedelta(days=14)))
        elif not recent:
            _part_needed(draw, attendance)


def annual_days(draw: random.Random, customer: CustomerPlan, last_on: date, first_on: date) -> list[date]:
    """Days about a year apart, oldest first, none in a month to avoid nor on a weekend."""
    days = [last_on]
    while True:
        ideal = days[-1] - timedelta(days=365)
        if customer.anniversary_on is not None:
            ideal = customer.anniversary_on - timedelta(days=round(365.25 * len(days)))
        day = working_day(_outside(ideal + timedelta(days=round(draw.gauss(0, 8))), customer))
        if day < first_on:
            return days[::-1]
        days.append(day)


def _outside(day: date, customer: CustomerPlan) -> date:
    while day.month in customer.avoid_months:
        day -= timedelta(days=7)
    return day


def working_day(day: date) -> date:
    """The day itself, or the Friday before a weekend."""
    return day - timedelta(days=max(day.weekday() - 4, 0))


def invent_last_day(draw: random.Random, world: World, customer: CustomerPlan) -> date:
    """When the plant was last seen: within the year, about the anniversary where there is one."""
    if customer.anniversary_on is not None:
        return working_day(customer.anniversary_on + timedelta(days=round(draw.gauss(0, 8))))
    day = world.today - timedelta(days=draw.randrange(4, 352))
    return working_day(_outside(day, customer))


def attend(
    draw: random.Random,
    world: World,
    plant: PlantPlan,
    day: date,
    *,
    outcome: str = "completed",
    kind: str = "annual_service",
    technician: int | None = None,
) -> AttendancePlan:
    """One attendance with a visit of each appliance that was there; appended to the plant."""
    who = technician if technician is not None else _who(draw, world, plant)
    attendance = AttendancePlan(
        plant=plant,
        on=day,
        technician=who,
        analyser=who if draw.random() < 0.92 else draw.randrange(len(world.analysers)),
        start_minute=draw.randrange(7 * 60 + 30, 11 * 60, 15),
        uuid=random_uuid(draw),
    )
    for appliance in plant.appliances:
        if appliance.installed_on > day:
            continue
        first = not appliance.visits and (day - appliance.installed_on).days < 400
        visit = VisitPlan(
            attendance=attendance,
            appliance=appliance,
            kind="commissioning" if first and kind == "annual_service" else kind,
            outcome=outcome,
            uuid=visit_uuid(draw, day),
            slot=len(attendance.visits),
            reads=outcome not in ("no_access", "refused"),
        )
        attendance.visits.append(visit)
        appliance.visits.append(visit)
    if attendance.visits:
        plant.attendances.append(attendance)
        _temporary_changes(attendance)
    return attendance


def visit_uuid(draw: random.Random, day: date) -> uuid.UUID:
    """A version 7 UUID of that day."""
    stamp = int(datetime.combine(day, time(9), UTC).timestamp() * 1000)
    return uuid.UUID(int=stamp << 80 | 7 << 76 | draw.getrandbits(12) << 64 | 2 << 62 | draw.getrandbits(62))


def _who(draw: random.Random, world: World, plant: PlantPlan) -> int:
    home = world.at_home[plant.site.area] if plant.site.area is not None else []
    return draw.choice(home if home and draw.random() < HOME_SHARE else world.licensed)


def _temporary_changes(attendance: AttendancePlan) -> None:
    """What a cascade needs so that one unit can be fired alone; put back before leaving."""
    plant = attendance.plant
    if plant.sequencing == "lead_lag" and attendance.visits[0].reads:
        attendance.visits[0].changes.append(ChangePlan("sequencer", "automatic", "manual"))


def _part_needed(draw: random.Random, attendance: AttendancePlan) -> None:
    """Now and then a part was needed: read as found, fitted at a recheck ten days later."""
    for visit in list(attendance.visits):
        if draw.random() >= PART_NEEDED_SHARE:
            continue
        visit.outcome, visit.may_adjust = "part_needed", False
        recheck = AttendancePlan(
            attendance.plant,
            working_day(attendance.on + timedelta(days=12)),
            attendance.technician,
            attendance.analyser,
            13 * 60,
            random_uuid(draw),
        )
        part = VisitPlan(
            recheck, visit.appliance, "recheck", "completed", visit_uuid(draw, recheck.on), slot=0
        )
        part.part = draw.choice(PARTS)
        recheck.visits.append(part)
        visit.appliance.visits.append(part)
        attendance.plant.attendances.append(recheck)
        return
