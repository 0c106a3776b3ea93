"""Two firms' worth of rows: what is one's own, and what is somebody else's."""

import json
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import uuid4

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from fleet.models import Appliance, Plant, SafetyEvent, Site, SiteContact
from people.models import DeviceToken, Role, User
from people.services import device_token_issue
from planning.models import FollowUp
from planning.services import plan_appliances
from tests.access.table import PEOPLE, Row
from tests.factories import ApplianceFactory, AttendanceFactory, UserFactory
from visits.models import Attendance, Finding, Photograph, Visit
from visits.services import Sender, visit_save

DAY = date(2026, 3, 2)
OPENED_AT = "2026-03-02T09:00:00Z"
NO_ACCESS = {"closed_at": "2026-03-02T10:00:00Z", "outcome": "no_access"}
PASSWORD = "a long enough pass phrase"


@dataclass(frozen=True)
class Side:
    """One site with everything on it, its technician and its contact."""

    technician: User
    contact: User
    site: Site
    plant: Plant
    appliance: Appliance
    attendance: Attendance
    closed_visit: Visit
    open_visit: Visit
    follow_up: FollowUp
    finding: Finding
    safety_event: SafetyEvent
    photograph: Photograph


@dataclass(frozen=True)
class World:
    """Everyone of PEOPLE, and the two sides. The technician and the contact belong to `mine`."""

    people: dict[str, User | None]
    mine: Side
    theirs: Side

    def ask(self, row: Row, side_name: str, who: str) -> int:
        """The status that this person is answered."""
        side, person = getattr(self, side_name), self.people[who]
        given: dict[str, Any] = {"side": side, "person": person, "who": who, "mine": side_name == "mine"}
        address = reverse(row.name, kwargs=row.kwargs(**given))
        query = row.query(**given)
        if query:
            address += "?" + "&".join(f"{word}={value}" for word, value in query.items())
        if address.startswith("/api/"):
            answer = _api_client(person).generic(row.method, address, **_json(row.body(**given)))
        else:
            answer = getattr(_browser(person), row.method.lower())(address, row.body(**given))
        return int(answer.status_code)


def build_world() -> World:
    """Everyone, and both sides with a row of each kind."""
    mine, theirs = _side(), _side()
    people: dict[str, User | None] = {
        "anonymous": None,
        "office": UserFactory(role=Role.OFFICE),
        "manager": UserFactory(role=Role.MANAGER),
        "administrator": UserFactory(role=Role.ADMINISTRATOR),
        "technician": mine.technician,
        "contact": mine.contact,
    }
    assert tuple(people) == PEOPLE
    return World(people, mine, theirs)


def token_of(person: User) -> DeviceToken:
    """A further device of this person."""
    return device_token_issue(user=person, name="another device")[0]


def _side() -> Side:
    technician = UserFactory(role=Role.TECHNICIAN)
    contact = UserFactory(role=Role.CONTACT)
    for person in (technician, contact):
        person.set_password(PASSWORD)
        person.save()
    appliance = ApplianceFactory()
    SiteContact.objects.create(site=appliance.plant.site, user=contact)
    attendance = AttendanceFactory(plant=appliance.plant, technician=technician, local_on=DAY)
    sender = Sender(technician, "another device")
    closed, opened = (_saved(sender, appliance, ending) for ending in (NO_ACCESS, {}))
    plan_appliances([appliance.pk], today=DAY)
    return Side(
        technician=technician,
        contact=contact,
        site=appliance.plant.site,
        plant=appliance.plant,
        appliance=appliance,
        attendance=attendance,
        closed_visit=closed,
        open_visit=opened,
        follow_up=FollowUp.objects.get(visit=closed),
        finding=Finding.objects.create(
            visit=closed,
            appliance=appliance,
            code="co_make_safe",
            severity="make_safe",
            made_at=timezone.now(),
        ),
        photograph=Photograph.objects.create(
            visit=opened,
            key=uuid4(),
            by=technician,
            state="stored",
            sent_bytes=1,
            path=default_storage.save("photographs/seal.jpg", ContentFile(b"a picture")),
            changed_at=timezone.now(),
        ),
        safety_event=SafetyEvent.objects.create(
            appliance=appliance, state="left_off", at=timezone.now(), by=technician, reason="CO"
        ),
    )


def _saved(sender: Sender, appliance: Appliance, ending: dict[str, str]) -> Visit:
    body = {"save_no": 1, "appliance": str(appliance.uuid), "kind": "annual_service", "opened_at": OPENED_AT}
    uuid = uuid4()
    visit_save(sender=sender, visit_uuid=uuid, raw=json.dumps(body | ending).encode())
    return Visit.objects.get(uuid=uuid)


def _api_client(person: User | None) -> APIClient:
    api = APIClient()
    if person is not None:
        _, text = device_token_issue(user=person, name="this device")
        api.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
    return api


def _json(body: dict[str, Any]) -> dict[str, Any]:
    return {"data": json.dumps(body), "content_type": "application/json"} if body else {}


def _browser(person: User | None) -> Client:
    browser = Client()
    if person is not None:
        browser.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return browser
