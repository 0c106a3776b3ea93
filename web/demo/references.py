"""Writes what a whole fleet shares, and remembers the keys it got."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.contrib.auth.hashers import make_password

from fleet.models import (
    Analyser,
    AnalyserChannel,
    AnalyserPeriod,
    ApplianceModel,
    FiringSpec,
    GasArea,
    GasPrice,
    Maker,
    ModelTrim,
)
from people.models import Licence, Role, Technician, User
from web.demo.catalogue import MODELS, ModelCard, acceptance, makers
from web.demo.world import AnalyserPlan, TechnicianPlan, World

INLET_LIMITS_MBAR = {"natural_gas": (17.0, 25.0), "propane": (32.0, 45.0)}
SCHEME = "Aldermere gas register (invented)"
CHANNELS = (
    # quantity, accuracy_abs, accuracy_rel, resolution, range_high: limits of error of the class of EN 50379
    ("o2_pct", 0.3, None, 0.01, 21.0),
    ("co2_pct", 0.3, None, 0.01, 20.0),
    ("co_ppm", 20.0, 0.05, 1.0, 4000.0),
    ("flue_temp_c", 2.0, 0.01, 0.1, 600.0),
    ("air_temp_c", 1.0, None, 0.1, 100.0),
    ("pressure_mbar", 0.5, 0.01, 0.1, 100.0),
)


@dataclass
class Handles:
    """Primary keys by the position in the world."""

    models: dict[tuple[str, str], int]
    areas: list[int]
    users: list[int]
    analysers: list[int]
    periods: list[list[int]]


def world_write(world: World) -> Handles:
    """Makers, models, areas, people and analysers. Models that are there already are left as they are."""
    models = _models_write()
    areas = GasArea.objects.bulk_create([GasArea(name=a.name, supply=a.supply) for a in world.areas])
    _price_write(world.first_on)
    users = _technicians_write(world.technicians, world.first_on)
    analysers, periods = _analysers_write(world.analysers)
    return Handles(models, [area.pk for area in areas], users, analysers, periods)


def _price_write(first_on: date) -> None:
    """The firm's price, the same for every fleet that lives in this database."""
    GasPrice.objects.get_or_create(
        customer=None,
        contract=None,
        fuel="",
        in_force_on=first_on,
        defaults={"price_per_kwh": Decimal("0.062"), "currency": "GBP", "source": "an invented tariff"},
    )


def _models_write() -> dict[tuple[str, str], int]:
    held = {name: Maker.objects.get_or_create(name=name)[0] for name in makers()}
    keys: dict[tuple[str, str], int] = {}
    for card in MODELS:
        model, made = ApplianceModel.objects.get_or_create(
            maker=held[card.maker], name=card.name, defaults=_model_columns(card)
        )
        keys[card.key] = model.pk
        if made:
            FiringSpec.objects.bulk_create(_specs(card, model))
            ModelTrim.objects.bulk_create(_trims(card, model))
    return keys


def _model_columns(card: ModelCard) -> dict[str, object]:
    high, low = card.fan_rpm or (None, None)
    return {
        "kind": card.kind,
        "ratio_control": card.control,
        "condensing": card.condensing,
        "input_gross_kw": card.input_gross_kw,
        "turndown": card.turndown,
        "control_pressure_pa": card.signal_pa,
        "fan_high_rpm": high,
        "fan_low_rpm": low,
    }


def _specs(card: ModelCard, model: ApplianceModel) -> Iterable[FiringSpec]:
    for spec in card.specs:
        target, accept = spec.target_co2_pct or (None, None), acceptance(spec) or (None, None)
        difference = spec.difference_pct or (None, None)
        inlet = INLET_LIMITS_MBAR[spec.fuel]
        yield FiringSpec(
            model=model,
            fuel=spec.fuel,
            point=spec.point,
            percent=spec.percent,
            target_low_co2_pct=target[0],
            target_high_co2_pct=target[1],
            accept_low_co2_pct=accept[0],
            accept_high_co2_pct=accept[1],
            below_high_fire_low_pct=difference[0],
            below_high_fire_high_pct=difference[1],
            co_max_ppm=card.co_max_ppm,
            inlet_pressure_low_mbar=inlet[0],
            inlet_pressure_high_mbar=inlet[1],
            flue_temp_max_c=card.flue_temp_max_c,
            source=card.source,
        )


def _trims(card: ModelCard, model: ApplianceModel) -> Iterable[ModelTrim]:
    for trim in card.trims:
        yield ModelTrim(
            model=model,
            kind=trim.kind,
            location=trim.location,
            tool=trim.tool,
            lowers_co2=trim.lowers_co2,
            mover=trim.mover,
            max_step_turns=trim.max_step_turns,
        )


def _technicians_write(plans: list[TechnicianPlan], first_on: date) -> list[int]:
    users = []
    for plan in plans:
        first, _, last = plan.full_name.partition(" ")
        users.append(
            User(
                username=plan.username,
                email=plan.username,
                first_name=first,
                last_name=last,
                role=Role.TECHNICIAN,
                password=make_password(None),
            )
        )
    users = User.objects.bulk_create(users)
    people = Technician.objects.bulk_create(
        Technician(user=user, home_latitude=54.0 + 0.02 * (n % 7), home_longitude=-2.2 - 0.03 * (n % 5))
        for n, user in enumerate(users)
    )
    Licence.objects.bulk_create(
        Licence(
            technician=person,
            scheme=SCHEME,
            number=f"AGR {person.pk:05}",
            work=Licence.Work.COMMISSIONING,
            starts_on=first_on - timedelta(days=400),
            ends_on=plan.licence_ends_on,
        )
        for person, plan in zip(people, plans, strict=True)
        if plan.licensed
    )
    return [user.pk for user in users]


def _analysers_write(plans: list[AnalyserPlan]) -> tuple[list[int], list[list[int]]]:
    analysers = Analyser.objects.bulk_create(
        Analyser(tag=plan.tag, serial=plan.serial, type_name="Pellar P4", settle_s=60.0) for plan in plans
    )
    AnalyserChannel.objects.bulk_create(
        AnalyserChannel(
            analyser=analyser,
            quantity=quantity,
            source="derived" if quantity == "co2_pct" and not plan.measures_co2 else "measured",
            accuracy_abs=absolute,
            accuracy_rel=relative,
            resolution=resolution,
            range_high=most,
        )
        for analyser, plan in zip(analysers, plans, strict=True)
        for quantity, absolute, relative, resolution, most in CHANNELS
    )
    rows = AnalyserPeriod.objects.bulk_create(
        AnalyserPeriod(
            analyser=analyser,
            starts_on=period.starts_on,
            calibration_due_on=period.due_on,
            certificate=f"CAL-{plan.tag}-{number + 1}",
        )
        for analyser, plan in zip(analysers, plans, strict=True)
        for number, period in enumerate(plan.periods)
    )
    keys = iter(row.pk for row in rows)
    return [analyser.pk for analyser in analysers], [[next(keys) for _ in plan.periods] for plan in plans]
