"""What the drift pages' templates need: tabs, signs, and a trim's unit."""

from typing import Any

from django import template
from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from analytics.models import TrimDrift, Unit
from fleet.units import about
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
_UNITS = {Unit.PCT_OF_K.value: "%", Unit.PASCAL.value: "Pa", Unit.MILLI_W.value: "1e-3 w"}


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


@register.filter
def trim_unit(row: TrimDrift) -> str:
    """The unit of a trim's state as it stands in a table."""
    return _UNITS[row.unit]


@register.filter
def share_of(part: int, whole: int) -> str:
    """A part in per cent of the whole; an en dash where there is no whole."""
    return f"{100 * part / whole:.1f}" if whole else "–"
