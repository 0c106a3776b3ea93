"""What the drift pages' templates need: tabs, signs, and a trim's unit."""

from datetime import date
from typing import Any

from django import template
from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from analytics.trim_scale import trim_scale
from fleet.units import about, units_of
from people.models import Role
from people.permissions import role_of

register = template.Library()

_TABS = [
    ("condition", _("Fleet condition")),
    ("wanderers", _("Wanderers")),
    ("models", _("Models and age")),
    ("analysers", _("Analysers")),
    ("gas", _("Gas")),
    ("trends", _("Fouling and wear")),
    ("costs", _("Cost")),
    ("technicians", _("Technicians")),
    ("alerts", _("Alerts")),
]


@register.inclusion_tag("drift/tabs.html", takes_context=True)
def drift_tabs(context: dict[str, Any], here: str) -> dict[str, Any]:
    """Links to the drift pages that the reader's role opens."""
    role = role_of(context["request"].user)
    closed = set() if role in (Role.MANAGER, Role.ADMINISTRATOR) else {"condition", "technicians"}
    if not settings.TECHNICIAN_REPEATABILITY:
        closed.add("technicians")
    tabs = [(reverse(f"web:{name}"), text, name == here) for name, text in _TABS if name not in closed]
    return {"tabs": tabs}


@register.filter
def signed(value: float | None, decimals: int = 2) -> str:
    """A number that always carries its sign; an en dash where there is none."""
    return "–" if value is None else f"{value:+.{decimals}f}".replace("-", "−")


@register.filter
def roughly(value: float | None) -> str:
    """A rough figure with the two or three digits that it is good for."""
    return "–" if value is None else about(value)


@register.filter
def doubled(u: float | None, decimals: int = 2) -> str:
    """1.96 standard uncertainties: half a 95 % interval."""
    return "–" if u is None else f"{1.96 * u:.{decimals}f}"


@register.simple_tag(takes_context=True)
def trim_unit(context: dict[str, Any], unit: str) -> str:
    """The unit that the reader has a trim's state in, which is stored in `unit`."""
    return trim_scale(unit, units_of(context["request"].user)).unit


@register.simple_tag(takes_context=True)
def trim_size(context: dict[str, Any], value: float | None, unit: str, decimals: int = 1) -> str:
    """A trim's state or its movement as the reader has it, without its unit. decimals: in % or Pa."""
    return _trim_text(context, value, unit, decimals, signed=False)


@register.simple_tag(takes_context=True)
def trim_change(context: dict[str, Any], value: float | None, unit: str, decimals: int = 1) -> str:
    """The same, always with its sign."""
    return _trim_text(context, value, unit, decimals, signed=True)


def _trim_text(
    context: dict[str, Any], value: float | None, unit: str, decimals: int, *, signed: bool
) -> str:
    if value is None:
        return "–"
    return trim_scale(unit, units_of(context["request"].user)).text(value, decimals, signed=signed)


@register.filter
def iso_day(text: str) -> date:
    """A day that is stored as text."""
    return date.fromisoformat(text)


@register.filter
def share_of(part: int, whole: int) -> str:
    """A part in per cent of the whole; an en dash where there is no whole."""
    return f"{100 * part / whole:.1f}" if whole else "–"
