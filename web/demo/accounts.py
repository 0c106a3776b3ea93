"""The four people who can sign in to the demo, and the demo technician's device."""

import secrets
from dataclasses import dataclass

from django.contrib.auth.hashers import make_password

from fleet.models import Site, SiteContact
from people.models import Role, User
from people.services import device_token_issue
from web.demo import names
from web.demo.story import TECHNICIAN_LOGIN

OFFICE_LOGIN = "office@tarnholt.example"
MANAGER_LOGIN = "manager@tarnholt.example"
CONTACT_LOGIN = "contact@aldermere.example"
LOGINS = (
    ("office", OFFICE_LOGIN),
    ("technician", TECHNICIAN_LOGIN),
    ("manager", MANAGER_LOGIN),
    ("customer's contact", CONTACT_LOGIN),
)
DEVICE = "demo tablet"
SITES_OF_A_CONTACT = 3


@dataclass(frozen=True)
class Secrets:
    """Shown once: the four logins share the password; the token is the technician's device's."""

    password: str
    token: str


def accounts_there() -> bool:
    """The demo has been made in this database."""
    return User.objects.filter(username=OFFICE_LOGIN).exists()


def staff_write() -> User:
    """Office and manager, who cannot sign in yet. Returns the office's user."""
    office = _person(OFFICE_LOGIN, names.OFFICE, Role.OFFICE)
    office.save()
    _person(MANAGER_LOGIN, names.MANAGER, Role.MANAGER).save()
    return office


def contacts_write() -> None:
    """Contacts of the first customers, each with some of the customer's sites."""
    sites = Site.objects.select_related("customer").order_by("customer_id", "id")
    by_customer: dict[int, list[Site]] = {}
    for site in sites:
        by_customer.setdefault(site.customer_id, []).append(site)
    for number, (full_name, held) in enumerate(zip(names.CONTACTS, by_customer.values(), strict=False)):
        login = CONTACT_LOGIN if number == 0 else held[0].customer.email
        user = _person(login, full_name, Role.CONTACT)
        user.save()
        SiteContact.objects.bulk_create(
            SiteContact(site=site, user=user) for site in held[:SITES_OF_A_CONTACT]
        )


def secrets_renew(password: str | None = None) -> Secrets:
    """A password for the four logins and a fresh token; the token's predecessors of this device end."""
    chosen = password or secrets.token_urlsafe(9)
    hashed = make_password(chosen)
    User.objects.filter(username__in=[login for _, login in LOGINS]).update(password=hashed)
    technician = User.objects.get(username=TECHNICIAN_LOGIN)
    technician.device_tokens.filter(name=DEVICE).delete()
    _, text = device_token_issue(user=technician, name=DEVICE)
    return Secrets(chosen, text)


def _person(username: str, full_name: str, role: Role) -> User:
    first, _, last = full_name.partition(" ")
    return User(
        username=username,
        email=username,
        first_name=first,
        last_name=last,
        role=role,
        password=make_password(None),
    )
