"""A plant with everything that bears on a visit, and a technician's device at it."""

import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module
from types import SimpleNamespace
from typing import Any

import pytest
from django.apps import apps
from django.db import connection
from rest_framework.test import APIClient

from fleet.models import AnalyserChannel, ItemSet, Point, SafetyLimit, ServiceItem
from fleet.reference import GAS_ANNUAL, item_sets_ship
from people.throttling import PersonThrottle
from tests.factories import (
    AnalyserFactory,
    AnalyserPeriodFactory,
    ApplianceFactory,
    FiringSpecFactory,
    LicenceFactory,
    ModelFactory,
    ModelTrimFactory,
    TechnicianFactory,
)
from visits.models import Visit

JSON = "application/json"


@pytest.fixture(autouse=True)
def _nobody_has_asked_yet() -> None:
    PersonThrottle.pace.clear()


@dataclass
class Scene:
    """One boiler on natural gas, its technician licensed, the analyser measuring both O2 and CO2 finely."""

    api_of: Callable[..., APIClient]
    technician: Any
    appliance: Any
    analyser: Any
    period: Any
    api: APIClient
    uuid: str = field(default_factory=lambda: str(uuid.uuid4()))

    @property
    def address(self) -> str:
        return f"/api/v1/visits/{self.uuid}/"

    @property
    def visit(self) -> Visit:
        return Visit.objects.get(uuid=self.uuid)

    def put(self, body: Any, *, api: APIClient | None = None, uuid: str | None = None, **headers: str) -> Any:
        """PUT of a body, given as an object or as raw text or bytes."""
        raw = body if isinstance(body, str | bytes) else json.dumps(body)
        address = f"/api/v1/visits/{uuid}/" if uuid else self.address
        return (api or self.api).put(address, raw, content_type=JSON, headers=headers)

    def second_device(self) -> APIClient:
        return self.api_of(self.technician)

    def get(self) -> Any:
        return self.api.get(self.address).json()


def _ship_limits() -> None:
    """Limits and items come with migrations, and a test with transactions of its own empties every table."""
    if not SafetyLimit.objects.exists():
        shipped = import_module("fleet.migrations.0002_shipped_safety_limits")
        shipped.ship(apps, SimpleNamespace(connection=connection))
    item_sets_ship(GAS_ANNUAL, ItemSet, ServiceItem)


def set_up_scene(api_of: Callable[..., APIClient]) -> Scene:
    _ship_limits()
    licence = LicenceFactory()
    model = ModelFactory()
    ModelTrimFactory(model=model, kind="throttle", lowers_co2="clockwise")
    ModelTrimFactory(model=model, kind="offset", lowers_co2="anticlockwise")
    FiringSpecFactory(model=model, accept_low_co2_pct=8.6, accept_high_co2_pct=9.4)
    FiringSpecFactory(
        model=model,
        point=Point.LOW,
        target_low_co2_pct=8.4,
        target_high_co2_pct=9.0,
        accept_low_co2_pct=8.2,
        accept_high_co2_pct=9.2,
    )
    appliance = ApplianceFactory(model=model, plant__site__customer__country="GB")
    analyser = AnalyserFactory()
    for quantity, accuracy in (("o2_pct", 0.1), ("co2_pct", 0.1)):
        AnalyserChannel.objects.create(
            analyser=analyser, quantity=quantity, source="measured", accuracy_abs=accuracy
        )
    period = AnalyserPeriodFactory(analyser=analyser)
    user = licence.technician.user
    return Scene(api_of, user, appliance, analyser, period, api_of(user))


@pytest.fixture
def scene(db: None, api_of: Callable[..., APIClient]) -> Scene:
    return set_up_scene(api_of)


@pytest.fixture
def colleague(db: None) -> Any:
    """Another technician of the firm, licensed."""
    return LicenceFactory(technician=TechnicianFactory()).technician.user


def all_rows() -> dict[str, int]:
    """How many rows every table holds that a save can reach: of this app and of those left of it."""
    reach = {"common", "people", "fleet", "visits"}
    return {
        model._meta.label: model._default_manager.count()
        for model in apps.get_models()
        if model._meta.app_label in reach
    }
