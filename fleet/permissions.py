"""Who may change what every judgement rests on."""

from typing import Any

from people.models import Role
from people.permissions import role_of, sees_everything


def can_set_limits(user: Any) -> bool:
    """Safety limits are an administrator's: everybody's visits are judged by them."""
    return role_of(user) == Role.ADMINISTRATOR


def can_report_gas(user: Any) -> bool:
    """The supplier's reports reach the office."""
    return sees_everything(user)
