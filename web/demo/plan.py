"""Planned rows, before they are rows: customers down to appliances, attendances and visits.

They point at each other both ways, so none has a text of its own.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from web.demo.catalogue import ModelCard


@dataclass(slots=True, eq=False, repr=False)
class CustomerPlan:
    """A customer with one contract over all its plants."""

    name: str
    email: str
    reference: str
    rule: str
    anniversary_on: date | None
    avoid_months: list[int]
    starts_on: date
    sites: list[SitePlan] = field(default_factory=list)


@dataclass(slots=True, eq=False, repr=False)
class SitePlan:
    """A site; `area` is a position in the world's areas, or None for a tank of its own."""

    customer: CustomerPlan
    name: str
    code: str
    address: str
    latitude: float
    longitude: float
    elevation_m: float
    area: int | None
    access_notes: str
    plants: list[PlantPlan] = field(default_factory=list)


@dataclass(slots=True, eq=False, repr=False)
class PlantPlan:
    """One boiler room and what happened in it."""

    site: SitePlan
    name: str
    sequencing: str
    appliances: list[AppliancePlan] = field(default_factory=list)
    attendances: list[AttendancePlan] = field(default_factory=list)


@dataclass(slots=True, eq=False, repr=False)
class AppliancePlan:
    """One appliance; `visits` in order of time."""

    plant: PlantPlan
    tag: str
    serial: str
    model: ModelCard
    fuel: str
    air_source: str
    installed_on: date
    uuid: uuid.UUID
    safety_state: str = "in_service"
    visits: list[VisitPlan] = field(default_factory=list)


@dataclass(slots=True, eq=False, repr=False)
class AttendancePlan:
    """One arrival; technician and analyser are positions in the world. Booked ones hold no visit yet."""

    plant: PlantPlan
    on: date
    technician: int
    analyser: int
    start_minute: int
    uuid: uuid.UUID
    position: int = 0
    booked: bool = False
    visits: list[VisitPlan] = field(default_factory=list)


@dataclass(slots=True, eq=False, repr=False)
class ChangePlan:
    """A setting altered only for the test; put back unless that is said."""

    what: str
    was: str
    set_to: str
    put_back: bool = True
    reason: str = ""


@dataclass(slots=True, eq=False, repr=False)
class VisitPlan:
    """One appliance seen, or not reached (`reads` false)."""

    attendance: AttendancePlan
    appliance: AppliancePlan
    kind: str
    outcome: str
    uuid: uuid.UUID
    slot: int
    """Position within the attendance."""
    reads: bool = True
    may_adjust: bool = True
    only_point: str = ""
    """The one firing point that could be read, where not all were."""
    upset_ln: float = 0.0
    """Passing disturbance of ln phi, both points: a blocked exchanger, a filter."""
    countersigned: bool = True
    changes: list[ChangePlan] = field(default_factory=list)
    part: str = ""
    """Fitted at the end of this visit."""
    notes: str = ""


def plants_of(customers: list[CustomerPlan]) -> Iterator[PlantPlan]:
    """Every plant, in order."""
    return (plant for customer in customers for site in customer.sites for plant in site.plants)


def appliances_of(customers: list[CustomerPlan]) -> Iterator[AppliancePlan]:
    """Every appliance, in order."""
    return (appliance for plant in plants_of(customers) for appliance in plant.appliances)
