"""Reads on people."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from people.models import DeviceToken, Licence, Role
from people.permissions import role_of

LPG_FUELS = frozenset({"propane", "n_butane", "lpg_mix"})


def licence_gap(
    licences: Iterable[Licence], *, on: date, commissioning: bool, fuel: str, input_gross_kw: float | None
) -> str | None:
    """Why none of these licences covers the work, as a code, or None where one does.

    Codes: `licence_unknown` (none on file), `licence_lapsed` (none in force that day), `licence_scope` (in
    force, but not for this work, fuel or input).
    """
    held = list(licences)
    if not held:
        return "licence_unknown"
    in_force = [row for row in held if row.starts_on <= on and (row.ends_on is None or on <= row.ends_on)]
    if not in_force:
        return "licence_lapsed"
    family = Licence.Fuels.LPG if fuel in LPG_FUELS else Licence.Fuels.NATURAL_GAS
    for row in in_force:
        work_fits = not commissioning or row.work == Licence.Work.COMMISSIONING
        fuel_fits = row.fuels in (Licence.Fuels.ALL, family)
        size_fits = row.max_input_gross_kw is None or (input_gross_kw or 0.0) <= row.max_input_gross_kw
        if work_fits and fuel_fits and size_fits:
            return None
    return "licence_scope"


def licences_ending(before: date) -> "Iterable[Licence]":
    """Licences that end by that day and that no longer one of the same technician replaces, soonest first."""
    return (
        Licence.objects.select_related("technician__user")
        .filter(Q(ends_on__lte=before), technician__user__is_active=True)
        .order_by("ends_on")
    )


def device_tokens_visible_to(user: Any) -> QuerySet[DeviceToken]:
    """Tokens that still open the door: one's own, and everybody's for an administrator."""
    living = DeviceToken.objects.select_related("user").filter(
        revoked_at__isnull=True, expires_at__gt=timezone.now()
    )
    return living if role_of(user) == Role.ADMINISTRATOR else living.filter(user=user)
