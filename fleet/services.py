"""Writes on the fleet's reference data."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction

from common.audit import audit
from fleet.models import Customer, GasArea, SafetyLimit, Site, SuppliedGas
from fleet.permissions import can_report_gas, can_set_limits

VERB_LIMIT_SET = "limit_set"
VERB_GAS_REPORTED = "gas_reported"
_TOLD = ("value", "source", "mark")


@transaction.atomic
def limit_set(
    *,
    by: Any,
    quantity: str,
    level: str,
    value: float,
    source: str,
    mark: str,
    in_force_on: date,
    country: str = "",
    customer: Customer | None = None,
) -> SafetyLimit:
    """A safety limit from a day on, for all, a country or a customer; an earlier day's row stays as it was.

    A second one for the same day and place takes the first one's place. Leaves an audit line with what stood
    there before (null where nothing did) and what stands there now. Raises PermissionDenied, or
    ValidationError naming the field.
    """
    if not can_set_limits(by):
        raise PermissionDenied("Only an administrator sets safety limits.")
    place = {"quantity": quantity, "level": level, "country": country, "customer": customer}
    same_place = SafetyLimit.objects.select_for_update().filter(**place, in_force_on__lte=in_force_on)
    before = same_place.order_by("-in_force_on").first()
    old = None if before is None else _told(before)
    row = before if before is not None and before.in_force_on == in_force_on else None
    limit = row or SafetyLimit(**place, in_force_on=in_force_on)
    limit.value, limit.source, limit.mark = value, source, mark
    limit.full_clean()
    limit.save()
    audit(
        by=by,
        verb=VERB_LIMIT_SET,
        subject=limit,
        quantity=quantity,
        level=level,
        country=country,
        customer=None if customer is None else str(customer),
        in_force_on=in_force_on.isoformat(),
        old=old,
        new=_told(limit),
    )
    return limit


@transaction.atomic
def gas_report(
    *,
    by: Any,
    fuel: str,
    composition: Mapping[str, float],
    from_on: date,
    source: str,
    site: Site | None = None,
    gas_area: GasArea | None = None,
) -> SuppliedGas:
    """What a supplier reports of the gas of one site or one gas area, in place of a fuel from a day on.

    Visits saved or judged again from then on are judged by it. A second report for the same day and place
    takes the first one's place; the audit line keeps both. Raises PermissionDenied, or ValidationError naming
    the field.
    """
    if not can_report_gas(by):
        raise PermissionDenied("The office reports a supplier's gas.")
    place = {"site": site, "gas_area": gas_area, "fuel": fuel, "from_on": from_on}
    gas = SuppliedGas.objects.select_for_update().filter(**place).first() or SuppliedGas(**place)
    old = gas.composition if gas.pk else None
    gas.composition, gas.source = dict(composition), source
    gas.full_clean()
    gas.save()
    new = {"composition": gas.composition, "source": source}
    audit(by=by, verb=VERB_GAS_REPORTED, subject=gas, old=old, new=new)
    return gas


def _told(limit: SafetyLimit) -> dict[str, Any]:
    return {name: getattr(limit, name) for name in _TOLD} | {"in_force_on": limit.in_force_on.isoformat()}
