"""Invents customers, sites, plants and appliances."""

from __future__ import annotations

import random
import uuid
from datetime import date, timedelta

from web.demo import names
from web.demo.catalogue import MODELS, NATURAL_GAS, PROPANE, ModelCard
from web.demo.plan import AppliancePlan, CustomerPlan, PlantPlan, SitePlan
from web.demo.world import World

TANK_SHARE = 0.08
SECOND_PLANT_SHARE = 0.1
APPLIANCES_PER_PLANT = (1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 4, 4, 5)
NEW_SHARE = 0.2
"""Share of appliances installed within the years of record."""
SCHOOL_MONTHS = [12, 1, 2]
"""In which schools would rather not have their heating off."""


def random_uuid(draw: random.Random) -> uuid.UUID:
    """A UUID that the seed decides."""
    return uuid.UUID(int=draw.getrandbits(128), version=4)


def invent_customer(draw: random.Random, world: World, number: int, prefix: str = "") -> CustomerPlan:
    """A customer without sites: every third has a fixed anniversary, schools avoid winter months."""
    name, _ = names.CUSTOMERS[number % len(names.CUSTOMERS)]
    if prefix:
        name = f"{name} {prefix}{number}"
    fixed = number % 3 == 1
    last_anniversary = world.today - timedelta(days=draw.randrange(45, 320))
    if "Learning" in name or "Colleges" in name:
        avoid = SCHOOL_MONTHS
    else:
        avoid = [] if fixed or number % 4 else [7, 8]
    domain = name.lower().replace(" ", "-")
    return CustomerPlan(
        name=name,
        email=f"facilities@{domain}.example",
        reference=f"TPS-{prefix}{number + 1:04}",
        rule="fixed_anniversary" if fixed else "from_last_done",
        anniversary_on=last_anniversary if fixed else None,
        avoid_months=[] if fixed else list(avoid),
        starts_on=world.first_on,
    )


def invent_site(
    draw: random.Random, world: World, customer: CustomerPlan, number: int, prefix: str = ""
) -> SitePlan:
    """A site without plants, appended to its customer."""
    kinds = names.CUSTOMERS[_customer_kind(customer)][1]
    place = names.PLACES[draw.randrange(len(names.PLACES))]
    name = f"{place} {draw.choice(kinds)}"
    if prefix or any(site.name == name for site in customer.sites):
        name = f"{name} {number + 1}"
    area = None if draw.random() < TANK_SHARE else draw.randrange(len(world.areas))
    site = SitePlan(
        customer=customer,
        name=name,
        code=f"{prefix}{number + 1:03}",
        address=f"{draw.randrange(1, 160)} {draw.choice(names.STREETS)}, {place}, Aldermere",
        latitude=round(54.0 + draw.gauss(0.0, 0.08), 5),
        longitude=round(-2.2 + draw.gauss(0.0, 0.14), 5),
        elevation_m=float(draw.randrange(15, 320)),
        area=area,
        access_notes=draw.choice(names.ACCESS_NOTES) if draw.random() < 0.5 else "",
    )
    customer.sites.append(site)
    return site


def invent_plants(draw: random.Random, world: World, site: SitePlan, room: int, years: int) -> int:
    """One or two plants with appliances, at most `room` of these; returns how many."""
    made = 0
    plant_names = ["Boiler house"] if draw.random() >= SECOND_PLANT_SHARE else ["Main boiler house", "Annexe"]
    for plant_name in plant_names:
        count = min(draw.choice(APPLIANCES_PER_PLANT), room - made)
        if count <= 0:
            break
        plant = PlantPlan(site, plant_name, "lead_lag" if count > 1 else "stand_alone")
        site.plants.append(plant)
        _invent_appliances(draw, world, plant, count, years, first=made + 1)
        made += count
    return made


def _invent_appliances(
    draw: random.Random, world: World, plant: PlantPlan, count: int, years: int, first: int
) -> None:
    """A room mostly holds one model; the odd one out is there too."""
    main = _pick_model(draw)
    for number in range(first, first + count):
        model = main if draw.random() < 0.8 else _pick_model(draw)
        installed = world.today - timedelta(days=int(365.25 * (years + draw.uniform(0.2, 9.0))))
        if draw.random() < NEW_SHARE:
            installed = world.today - timedelta(days=int(365.25 * draw.uniform(1.2, max(years, 2))))
        add_appliance(draw, plant, model, number, installed)


def add_appliance(
    draw: random.Random, plant: PlantPlan, model: ModelCard, number: int, installed_on: date
) -> AppliancePlan:
    """One more appliance in a plant."""
    letter = "W" if model.kind == "water_heater" else "B"
    if model.premix and model.input_gross_kw > 90.0:
        air_source = draw.choice(("ducted", "ducted", "room"))
    else:
        air_source = draw.choice(("concentric", "ducted", "room")) if model.condensing else "room"
    appliance = AppliancePlan(
        plant=plant,
        tag=f"T{plant.site.code}-{letter}{number}",
        serial=f"{model.maker[0]}{draw.randrange(10**7, 10**8)}",
        model=model,
        fuel=PROPANE if plant.site.area is None else NATURAL_GAS,
        air_source=air_source,
        installed_on=installed_on,
        uuid=random_uuid(draw),
    )
    plant.appliances.append(appliance)
    return appliance


def _pick_model(draw: random.Random) -> ModelCard:
    return draw.choices(MODELS, weights=[card.weight for card in MODELS])[0]


def _customer_kind(customer: CustomerPlan) -> int:
    return next(i for i, (name, _) in enumerate(names.CUSTOMERS) if customer.name.startswith(name))
