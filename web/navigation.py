"""The few links each role moves by, in the order of their use."""

from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from people.models import Role
from people.permissions import role_of


@dataclass(frozen=True)
class Link:
    """One entry: the page's name in `web.urls`, its text, and whether the reader stands on it."""

    name: str
    text: str | Promise
    address: str = ""
    here: bool = False


_Entries = list[tuple[str, str | Promise]]

_OFFICE: _Entries = [
    ("today", _("To decide")),
    ("due", _("Due list")),
    ("bookings", _("Bookings")),
    ("findings", _("Findings")),
    ("customers", _("Customers")),
    ("contracts", _("Contracts")),
    ("wanderers", _("Drift")),
    ("flue-gas", _("Flue gas")),
    ("kit", _("Analysers")),
    ("crew", _("Technicians")),
    ("lists", _("Lists")),
    ("accounts", _("Accounts")),
]
_BY_ROLE: dict[str, _Entries] = {
    Role.OFFICE: _OFFICE,
    Role.ADMINISTRATOR: [
        *_OFFICE,
        ("condition", _("Fleet condition")),
        ("limits", _("Limits")),
    ],
    Role.MANAGER: [
        ("condition", _("Fleet condition")),
        ("wanderers", _("Drift")),
        ("findings", _("Findings")),
        ("today", _("To decide")),
        ("due", _("Due list")),
        ("customers", _("Customers")),
        ("flue-gas", _("Flue gas")),
        ("accounts", _("Accounts")),
    ],
    Role.TECHNICIAN: [
        ("my-day", _("My day")),
        ("flue-gas", _("Flue gas")),
        ("findings", _("Findings")),
        ("customers", _("Customers")),
    ],
    Role.CONTACT: [("my-sites", _("My sites"))],
}


def links_for(request: HttpRequest) -> list[Link]:
    """The links of the reader's role; none for nobody."""
    match = request.resolver_match
    current = match.url_name if match else None
    return [
        Link(name, text, reverse(f"web:{name}"), here=name == current)
        for name, text in _BY_ROLE.get(role_of(request.user) or "", [])
    ]
