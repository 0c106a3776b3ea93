"""Writes on technicians and their licences, as the office keeps them."""

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import models

from common.editing import row_add, row_change
from people.models import Licence, Technician, User
from people.permissions import sees_everything


def licence_add(*, by: User, row: Licence | Technician) -> None:
    """Add a licence, or what the office must know of a technician. Raises ValidationError."""
    _refuse_unless_office(by)
    row_add(by=by, row=row)


def licence_change(
    *, by: User, row: models.Model, values: Mapping[str, Any], seen: Mapping[str, str]
) -> dict[str, tuple[str, str]]:
    """Change a licence or a technician's row, as `row_change`."""
    _refuse_unless_office(by)
    return row_change(by=by, row=row, values=values, seen=seen)


def _refuse_unless_office(by: User) -> None:
    if not sees_everything(by):
        raise PermissionDenied
