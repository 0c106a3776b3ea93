"""The lived plan as table rows: places through Django, the record through whole-table writes."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from itertools import product
from typing import Any

import numpy as np

from common.bulk import keys_reserve, rows_write
from fleet.models import Appliance, Burner, Contract, Customer, GasArea, PartFitted, Plant, Site
from visits.models import Adjustment, Attendance, FiringTest, TemporaryChange, Visit
from web.demo.lives import Lives, points_of
from web.demo.plan import AppliancePlan, AttendancePlan, CustomerPlan, VisitPlan, appliances_of, plants_of
from web.demo.readings import COLUMNS
from web.demo.references import Handles
from web.demo.schedule import MINUTES_PER_VISIT
from web.demo.world import ZONE_NAME, World

ZONE = zoneinfo.ZoneInfo(ZONE_NAME)
POINTS = ("high", "low", "percent")
PHASES = ("as_found", "as_left")
AT_MINUTE = {"as_found": (12, 19, 24), "as_left": (52, 59, 64)}
"""After opening, by firing point; a casing's next burner follows ten minutes later."""
NEXT_BURNER_MINUTES = 10
MOVED_AT_MINUTE = (38, 46)
MOVES = (("throttle", 0), ("offset", 1))
"""Trim and the firing point it is set at."""

ATTENDANCE = (
    "id", "uuid", "plant_id", "technician_id", "local_on", "planned_start_at", "position", "arrived_at",
    "left_at", "travel_minutes", "contact_name", "signed_name", "signed_at", "booked_by_id",
)  # fmt: skip
VISIT = (
    "id", "uuid", "attendance_id", "appliance_id", "kind", "source", "technician_id", "analyser_id",
    "analyser_period_id", "fuel", "opened_at", "closed_at", "local_on", "closed_received_at", "outcome",
    "uncountersigned", "notes",
)  # fmt: skip
TEST = (
    "visit_id", "key", "burner_id", "point", "percent", "phase", "sequence", "observed_at", "settled", "fuel",
    "co2_source", "moved_before", *COLUMNS,
)  # fmt: skip
ADJUSTMENT = (
    "visit_id", "key", "burner_id", "trim", "at", "direction", "turns", "before_test", "after_test",
    "before_co2_pct", "after_co2_pct",
)  # fmt: skip
CHANGE = ("visit_id", "key", "what", "was", "set_to", "changed_at", "put_back_at", "reason")


class Chunk:
    """Some customers with everything below them, on their way into the database."""

    def __init__(
        self,
        customers: list[CustomerPlan],
        lives: Lives,
        world: World,
        handles: Handles,
        booked_by: int | None = None,
    ) -> None:
        self.customers = customers
        self.lives = lives
        self.world = world
        self.handles = handles
        self.plants: dict[int, int] = {}
        self.appliances: dict[int, int] = {}
        self.burners: list[int] = []
        self.starts: dict[int, datetime] = {}
        self.tests_written = 0
        self.booked_by = booked_by

    def write(self) -> list[int]:
        """Write places, then the record. Returns the keys of the visits. Runs in the caller's transaction."""
        self._places_write()
        self._appliances_write()
        return self._record_write()

    def _places_write(self) -> None:
        customers = Customer.objects.bulk_create(
            Customer(name=plan.name, email=plan.email) for plan in self.customers
        )
        contracts = Contract.objects.bulk_create(
            Contract(
                customer=row,
                reference=plan.reference,
                rule=plan.rule,
                anniversary_on=plan.anniversary_on,
                avoid_months=plan.avoid_months,
                starts_on=plan.starts_on,
            )
            for row, plan in zip(customers, self.customers, strict=True)
        )
        site_plans = [site for customer in self.customers for site in customer.sites]
        owner = {id(plan): row for plan, row in zip(self.customers, customers, strict=True)}
        tanks = iter(
            GasArea.objects.bulk_create(
                GasArea(name=f"LPG tank, site {plan.code}", supply="tank")
                for plan in site_plans
                if plan.area is None
            )
        )
        sites = Site.objects.bulk_create(
            Site(
                customer=owner[id(plan.customer)],
                name=plan.name,
                address=plan.address,
                latitude=plan.latitude,
                longitude=plan.longitude,
                elevation_m=plan.elevation_m,
                design_winter_air_c=-4.0,
                design_summer_air_c=26.0,
                gas_area_id=next(tanks).pk if plan.area is None else self.handles.areas[plan.area],
                access_notes=plan.access_notes,
            )
            for plan in site_plans
        )
        place = {id(plan): row.pk for plan, row in zip(site_plans, sites, strict=True)}
        plans = list(plants_of(self.customers))
        rows = Plant.objects.bulk_create(
            Plant(site_id=place[id(plan.site)], name=plan.name, sequencing=plan.sequencing) for plan in plans
        )
        self.plants = {id(plan): row.pk for plan, row in zip(plans, rows, strict=True)}
        bond = {id(plan): row.pk for plan, row in zip(self.customers, contracts, strict=True)}
        Contract.plants.through.objects.bulk_create(
            Contract.plants.through(contract_id=bond[id(plan.site.customer)], plant_id=self.plants[id(plan)])
            for plan in plans
        )

    def _appliances_write(self) -> None:
        plans = list(appliances_of(self.customers))
        rows = Appliance.objects.bulk_create(
            Appliance(
                uuid=plan.uuid,
                plant_id=self.plants[id(plan.plant)],
                tag=plan.tag,
                serial=plan.serial,
                model_id=self.handles.models[plan.model.key],
                fuel=plan.fuel,
                input_gross_kw=plan.model.input_gross_kw,
                input_stated_kw=plan.model.input_gross_kw,
                air_source=plan.air_source,
                safety_state=plan.safety_state,
                installed_on=plan.installed_on,
                **yearly_gas(plan),
            )
            for plan in plans
        )
        self.appliances = {id(plan): row.pk for plan, row in zip(plans, rows, strict=True)}
        burners = Burner.objects.bulk_create(
            Burner(
                appliance_id=self.appliances[id(plan)],
                position=position,
                name="" if plan.model.burners == 1 else ("left", "right")[position - 1],
            )
            for plan in plans
            for position in range(1, plan.model.burners + 1)
        )
        self.burners = [burner.pk for burner in burners]

    def _record_write(self) -> list[int]:
        attendances = [each for plant in plants_of(self.customers) for each in plant.attendances]
        self.starts = {id(plan): started_at(plan) for plan in attendances}
        visits = [visit for attendance in attendances for visit in attendance.visits]
        attendance_keys = keys_reserve(Attendance, len(attendances))
        key_of = {id(plan): key for plan, key in zip(attendances, attendance_keys, strict=True)}
        visit_keys = keys_reserve(Visit, len(visits))
        visit_key = {id(plan): key for plan, key in zip(visits, visit_keys, strict=True)}
        rows_write(Attendance, ATTENDANCE, (self._attendance(plan, key_of[id(plan)]) for plan in attendances))
        rows_write(
            Visit,
            VISIT,
            (self._visit(plan, visit_key[id(plan)], key_of[id(plan.attendance)]) for plan in visits),
        )
        tests: list[tuple[Any, ...]] = []
        moves: list[tuple[Any, ...]] = []
        for appliance in self.lives.appliances:
            self._tests(appliance, visit_key, tests, moves)
        self.tests_written = len(tests)
        rows_write(FiringTest, TEST, tests)
        rows_write(Adjustment, ADJUSTMENT, moves)
        rows_write(TemporaryChange, CHANGE, self._changes(visits, visit_key))
        self._parts_write(visits)
        return visit_keys

    def _attendance(self, plan: AttendancePlan, key: int) -> tuple[Any, ...]:
        start = self.starts[id(plan)]
        done = None if plan.booked else start + timedelta(minutes=15 + MINUTES_PER_VISIT * len(plan.visits))
        reached = not plan.booked and plan.visits[0].reads
        contact = "site caretaker" if reached else ""
        return (
            key,
            plan.uuid,
            self.plants[id(plan.plant)],
            self.handles.users[plan.technician],
            plan.on,
            start,
            plan.position,
            None if plan.booked else start,
            done,
            None if plan.booked else 15.0 + plan.start_minute % 40,
            contact,
            contact,
            done if reached else None,
            self.booked_by if plan.booked else None,
        )

    def _visit(self, plan: VisitPlan, key: int, attendance: int) -> tuple[Any, ...]:
        opened = self._opened_at(plan)
        closed = opened + timedelta(minutes=MINUTES_PER_VISIT - 5 if plan.reads else 12)
        analyser = plan.attendance.analyser if plan.reads else None
        period = None
        if analyser is not None:
            period = self.handles.periods[analyser][
                self.world.analysers[analyser].period_on(plan.attendance.on)
            ]
        return (
            key,
            plan.uuid,
            attendance,
            self.appliances[id(plan.appliance)],
            plan.kind,
            "import" if plan.countersigned else "rest",
            self.handles.users[plan.attendance.technician],
            self.handles.analysers[analyser] if analyser is not None else None,
            period,
            plan.appliance.fuel,
            opened,
            closed,
            plan.attendance.on,
            closed,
            plan.outcome,
            not plan.countersigned,
            plan.notes,
        )

    def _tests(
        self,
        appliance: AppliancePlan,
        visit_key: dict[int, int],
        tests: list[tuple[Any, ...]],
        moves: list[tuple[Any, ...]],
    ) -> None:
        """Append the firing tests and the moves of an appliance, visit after visit."""
        card, fuel, lives = appliance.model, appliance.fuel, self.lives
        first = lives.first_burner[appliance.tag]
        rows = range(first, first + card.burners)
        percent = [None, None, next((spec.percent for spec in card.specs if spec.percent), None)]
        all_points = [POINTS.index(point) for point in points_of(card, fuel)]
        columns = [lives.columns[row].tolist() for row in rows]
        left_read = [lives.history.left_read[row].tolist() for row in rows]
        for position, plan in enumerate(appliance.visits):
            if not plan.reads:
                continue
            opened, visit = self._opened_at(plan), visit_key[id(plan)]
            measured = self.world.analysers[plan.attendance.analyser].measures_co2
            points = [POINTS.index(plan.only_point)] if plan.only_point else all_points
            seen: list[dict[tuple[int, int], tuple[str, float | None]]] = [{} for _ in rows]
            order = [
                step
                for step in product(enumerate(PHASES), range(len(rows)), points)
                if step[0][0] == 0 or left_read[step[1]][position]
            ]
            for sequence, ((phase, phase_name), which, point) in enumerate(order, start=1):
                cells = [None if cell != cell else cell for cell in columns[which][position][phase][point]]
                seen[which][phase, point] = (f"t{sequence}", cells[0])
                minute = AT_MINUTE[phase_name][point] + NEXT_BURNER_MINUTES * which
                tests.append(
                    (
                        visit,
                        f"t{sequence}",
                        self.burners[first + which],
                        POINTS[point],
                        percent[point],
                        phase_name,
                        sequence,
                        opened + timedelta(minutes=minute),
                        "stated",
                        fuel,
                        "measured" if measured else "derived",
                        None if phase else False,
                        *cells,
                    )
                )
            for which, row in enumerate(rows):
                if (1, 0) in seen[which]:
                    moves.extend(self._moves(row, position, visit, opened, seen[which]))

    def _moves(
        self,
        row: int,
        position: int,
        visit: int,
        opened: datetime,
        seen: dict[tuple[int, int], tuple[str, float | None]],
    ) -> Iterator[tuple[Any, ...]]:
        card, burner = self.lives.cards[row], self.burners[row]
        moved = (self.lives.history.moved_ln_k, self.lives.history.moved_pa)
        for which, (kind, point) in enumerate(MOVES):
            amount = float(moved[which][row, position])
            trim = card.trim(kind) if amount else None
            if trim is None:
                continue
            turns = float(self.lives.turns[row, position, which])
            before, after = seen[0, point], seen[1, point]
            yield (
                visit,
                f"{kind}-{burner}",
                burner,
                kind,
                opened + timedelta(minutes=MOVED_AT_MINUTE[which]),
                trim.raises_co2 if amount > 0 else trim.lowers_co2,
                None if np.isnan(turns) else turns,
                before[0],
                after[0],
                before[1],
                after[1],
            )

    def _changes(self, visits: list[VisitPlan], visit_key: dict[int, int]) -> Iterator[tuple[Any, ...]]:
        for plan in visits:
            opened = self._opened_at(plan)
            for number, change in enumerate(plan.changes):
                yield (
                    visit_key[id(plan)],
                    f"c{number + 1}",
                    change.what,
                    change.was,
                    change.set_to,
                    opened + timedelta(minutes=6 + number),
                    opened + timedelta(minutes=70 + number) if change.put_back else None,
                    change.reason,
                )

    def _opened_at(self, plan: VisitPlan) -> datetime:
        """When the visit's form was opened, in UTC."""
        return self.starts[id(plan.attendance)] + timedelta(minutes=10 + MINUTES_PER_VISIT * plan.slot)

    def _parts_write(self, visits: list[VisitPlan]) -> None:
        PartFitted.objects.bulk_create(
            PartFitted(
                burner_id=self.burners[self.lives.first_burner[plan.appliance.tag]],
                part=plan.part,
                fitted_at=self._opened_at(plan) + timedelta(minutes=40),
                visit_uuid=plan.uuid,
            )
            for plan in visits
            if plan.part
        )


def started_at(plan: AttendancePlan) -> datetime:
    """Arrival, in UTC."""
    local = datetime.combine(plan.on, time(plan.start_minute // 60, plan.start_minute % 60), ZONE)
    return local.astimezone(UTC)


def yearly_gas(plan: AppliancePlan) -> dict[str, Any]:
    """A third of the appliances have a meter of their own: what its bills say."""
    if plan.uuid.int % 3:
        return {}
    hours = 900 + plan.uuid.int % 1100
    return {
        "annual_gas_kwh": plan.model.input_gross_kw * hours,
        "annual_gas_u_pct": 3.0,
        "annual_gas_source": "bills of its own meter",
    }
