"""The demo and the scale fleet, from a seed into the database."""

from __future__ import annotations

import gc
import random
from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta
from io import StringIO

import numpy as np
from django.core.management import call_command, get_commands
from django.db import connection, transaction
from django.utils import timezone

from analytics.tasks import alerts_what_is_owed
from common.outbox import announce
from fleet.models import Analyser, SafetyEvent, SafetyState
from fleet.safety import categories_of
from people.models import User
from visits.judging import judge_visits
from visits.models import Attendance, Finding, Life, Outcome, Visit
from visits.remedies import findings_settle_all
from visits.service_record.issuing import record_issue
from web.demo.accounts import Secrets, contacts_write, secrets_renew, staff_write
from web.demo.begun import visit_begin
from web.demo.lives import draw_lives, live
from web.demo.places import invent_customer, invent_plants, invent_site
from web.demo.plan import CustomerPlan, appliances_of, plants_of
from web.demo.references import world_write
from web.demo.rows import Chunk
from web.demo.schedule import invent_last_day, schedule_plant
from web.demo.story import TECHNICIAN_LOGIN, plan_demo
from web.demo.world import Magnitudes, World, invent_world

Progress = Callable[[str, int], None]
"""Told the name of a step and how many visits it has done since the last call."""

AFTERWARDS = ("plan_due", "recompute_drift", "learn_turns")
"""Commands of other apps that make due dates, drift and turns; the outbox would do it too, later."""
FINDINGS_STAY_OPEN = timedelta(days=300)
JUDGED_AT_ONCE = 250
RECORDS_ISSUED = 12
CHUNK_APPLIANCES = 600
SITES_OF_A_CUSTOMER = 8
APPLIANCES_PER_TECHNICIAN = 250
APPLIANCES_PER_AREA = 2500


def demo_load(*, seed: int, today: date, password: str | None, progress: Progress) -> Secrets:
    """Plan, write and judge the demo: all of it, or nothing."""
    plan = plan_demo(seed=seed, today=today)
    with transaction.atomic():
        handles = world_write(plan.world)
        office = staff_write()
        keys = Chunk(plan.customers, plan.lives, plan.world, handles, booked_by=office.pk).write()
        progress("written", len(keys))
        contacts_write()
        shown = secrets_renew(password)
        _judge(keys, progress)
        _settle_old_findings(keys, today)
        # all that an import leaves to the tick is done here and below: the demo opens at rest
        findings_settle_all()
        _note_left_off(keys)
    work_out_the_rest()
    # what the biases change that the recompute has just found
    call_command("judge_again", verbosity=0, stdout=StringIO())
    # now, so that the letter about them does not push the logins off the screen once the demo is served
    alerts_what_is_owed(timezone.now())
    _issue_records()
    # Last: the advice of the visit that is open rests on what was learnt of every move before it.
    visit_begin(technician=User.objects.get(username=TECHNICIAN_LOGIN), on=today, seed=seed)
    return shown


def _issue_records() -> None:
    """Service records of the newest attendances; those of earlier ones are issued when somebody asks."""
    closed = Attendance.objects.filter(visits__closed_at__isnull=False).distinct()
    for attendance in closed.select_related("plant__site").order_by("-local_on", "-pk")[:RECORDS_ISSUED]:
        record_issue(by=None, attendance=attendance)


def _note_left_off(keys: Sequence[int]) -> None:
    """Who left an appliance off and who was told. The office had its letter on that day."""
    for visit in Visit.objects.filter(pk__in=keys, outcome=Outcome.LEFT_OFF).select_related(
        "appliance__plant__site__customer", "technician", "attendance"
    ):
        country = visit.appliance.plant.site.customer.country
        category = next(row for row in categories_of(country) if row.state == SafetyState.LEFT_OFF)
        SafetyEvent.objects.create(
            appliance=visit.appliance,
            state=SafetyState.LEFT_OFF,
            at=visit.closed_at,
            by=visit.technician,
            told=visit.attendance.contact_name,
            answer=SafetyEvent.Answer.ACKNOWLEDGED,
            reason=visit.notes,
            category=category.code,
            category_name=category.name,
            visit_uuid=visit.uuid,
        )


def _settle_old_findings(keys: Sequence[int], today: date) -> None:
    """What these visits found long ago has been seen to since; else the list would be all history."""
    for some in _parts(keys):
        old = Finding.objects.filter(visit__in=some, visit__local_on__lt=today - FINDINGS_STAY_OPEN)
        old.update(life=Life.DONE)


def fleet_load(
    *,
    appliances: int,
    years: int,
    seed: int,
    today: date,
    judge: bool,
    progress: Progress,
    world_for: int | None = None,
) -> dict[str, int]:
    """Write a fleet of this size, a chunk of customers at a time, each whole or not at all.

    `world_for` makes technicians, analysers and gas areas for so many appliances, not only for those made.
    Raises ValueError where this seed's fleet is in the database already.
    """
    prefix = f"F{seed}-"
    if Analyser.objects.filter(tag__startswith=prefix).exists():
        raise ValueError(f"the fleet of seed {seed} is in this database already; choose another seed")
    served = world_for or appliances
    world = invent_world(
        seed=seed,
        today=today,
        years=years,
        areas=min(max(served // APPLIANCES_PER_AREA, 2), 40),
        technicians=max(served // APPLIANCES_PER_TECHNICIAN, 2),
        spare_analysers=max(served // APPLIANCES_PER_TECHNICIAN // 10, 1),
        magnitudes=Magnitudes(),
        prefix=prefix.rstrip("-"),
    )
    with transaction.atomic():
        handles = world_write(world)
    counts = {"appliances": 0, "visits": 0, "firing tests": 0}
    for number, customers in enumerate(_customers(seed, world, appliances, years, prefix)):
        numbers = np.random.default_rng([seed, 3, number])
        lives = draw_lives(list(appliances_of(customers)), world, numbers)
        live(lives, world, numbers)
        with transaction.atomic():
            chunk = Chunk(customers, lives, world, handles)
            keys = chunk.write()
        progress("written", len(keys))
        if judge:
            _judge(keys, progress)
            _settle_old_findings(keys, today)
        counts["appliances"] += len(lives.appliances)
        counts["visits"] += len(keys)
        counts["firing tests"] += chunk.tests_written
        del customers, lives, chunk, keys
        gc.collect()  # plans point at each other both ways; waiting for the collector would pile chunks up
    announce("visits.imported", 0, visits=counts["visits"])
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return counts


def work_out_the_rest() -> list[str]:
    """Run the commands that make due dates and drift, where they are installed; returns which ran."""
    there = [name for name in AFTERWARDS if name in get_commands()]
    for name in there:
        call_command(name, verbosity=0, stdout=StringIO())
    return there


def _customers(
    seed: int, world: World, appliances: int, years: int, prefix: str
) -> Iterator[list[CustomerPlan]]:
    """Chunks of whole customers, some hundreds of appliances each, `appliances` in all."""
    draw = random.Random(f"fleet {seed}")  # noqa: S311  a fleet must be the same for the same seed
    chunk: list[CustomerPlan] = []
    made = written = sites = customers = 0
    while made < appliances:
        customer = invent_customer(draw, world, customers, prefix)
        customers += 1
        chunk.append(customer)
        for _ in range(SITES_OF_A_CUSTOMER):
            if made >= appliances:
                break
            site = invent_site(draw, world, customer, sites, prefix)
            sites += 1
            made += invent_plants(draw, world, site, appliances - made, years)
        if made - written >= CHUNK_APPLIANCES or made >= appliances:
            written = made
            for plant in plants_of(chunk):
                last_on = invent_last_day(draw, world, plant.site.customer)
                schedule_plant(draw, world, plant, last_on, years)
            yield chunk
            chunk = []


def _judge(keys: Sequence[int], progress: Progress) -> None:
    for some in _parts(keys):
        judge_visits(some)
        progress("judged", len(some))


def _parts(keys: Sequence[int]) -> Iterator[Sequence[int]]:
    return (keys[start : start + JUDGED_AT_ONCE] for start in range(0, len(keys), JUDGED_AT_ONCE))
