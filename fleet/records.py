"""Writes on what the office keeps: customers down to burners, contracts, analysers."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import models, transaction
from django.utils import timezone

from common.editing import row_add, row_change
from common.outbox import announce
from fleet.models import (
    Analyser,
    AnalyserChannel,
    AnalyserPeriod,
    Appliance,
    Burner,
    Contract,
    Customer,
    GasPrice,
    PartFitted,
    Plant,
    Site,
)
from people.models import User
from people.permissions import sees_everything

KEPT = (
    Customer,
    Site,
    Plant,
    Appliance,
    Burner,
    Contract,
    Analyser,
    AnalyserChannel,
    AnalyserPeriod,
    GasPrice,
)
PRICES_CHANGED = "prices.changed"
"""The kind of event that says that the money of some burners is another."""
FAN_LIMITS = frozenset({"fan_high_rpm", "fan_low_rpm"})


def record_add(*, by: User, row: models.Model, lists: Mapping[str, Iterable[Any]] | None = None) -> None:
    """Add one row of KEPT; a new appliance gets its first burner. Raises ValidationError."""
    _refuse_unless_kept(by, row)
    with transaction.atomic():
        row_add(by=by, row=row, lists=lists)
        if isinstance(row, Appliance):
            row_add(by=by, row=Burner(appliance=row))
        _prices_announce(row)


def record_change(
    *, by: User, row: models.Model, values: Mapping[str, Any], seen: Mapping[str, str]
) -> dict[str, tuple[str, str]]:
    """Change one row of KEPT, as `row_change`. A burner's changed fan limit starts a new trim state."""
    _refuse_unless_kept(by, row)
    with transaction.atomic():
        changed = row_change(by=by, row=row, values=values, seen=seen)
        if isinstance(row, Burner) and FAN_LIMITS & changed.keys():
            PartFitted.objects.create(burner=row, part="fan limit", fitted_at=timezone.now())
        if changed:
            _prices_announce(row)
    return changed


def _prices_announce(row: models.Model) -> None:
    """A price is another, or a contract that has one holds other plants or other days."""
    if isinstance(row, GasPrice) or (isinstance(row, Contract) and row.gas_prices.exists()):
        announce(PRICES_CHANGED, row.pk)


def _refuse_unless_kept(by: User, row: models.Model) -> None:
    if not sees_everything(by):
        raise PermissionDenied
    if not isinstance(row, KEPT):
        raise TypeError(f"{type(row).__name__} is not kept here.")
