"""The admin opens to administrators alone; reference data can be changed there, the record cannot."""

import pytest
from django.urls import reverse

from fleet.models import Maker
from people.models import Role
from tests.web.small_fleet import person


@pytest.fixture
def boss(fleet):
    return person("boss", Role.ADMINISTRATOR)


def test_nobody_but_an_administrator_comes_in(fleet, page_of, boss) -> None:
    address = reverse("admin:index")
    for other in (fleet.office, fleet.manager, fleet.technician, fleet.contact):
        assert page_of(other).get(address).status_code == 302
    assert page_of(boss).get(address).status_code == 200


def test_an_administrator_adds_a_maker_and_opens_a_model(fleet, page_of, boss) -> None:
    client = page_of(boss)
    assert client.post(reverse("admin:fleet_maker_add"), {"name": "Ostrell"}).status_code == 302
    assert Maker.objects.filter(name="Ostrell").exists()
    model = fleet.appliance.model
    page = client.get(reverse("admin:fleet_appliancemodel_change", args=[model.pk]))
    assert "gas valve inlet, under the cap" in page.text


@pytest.mark.parametrize(
    "name", ["visits_visit", "visits_finding", "visits_visitrecord", "fleet_safetylimit"]
)
def test_the_record_is_listed_and_cannot_be_touched(fleet, page_of, boss, name) -> None:
    client = page_of(boss)
    assert client.get(reverse(f"admin:{name}_changelist")).status_code == 200
    assert client.get(reverse(f"admin:{name}_add")).status_code == 403


def test_a_visit_is_shown_and_neither_changed_nor_deleted(fleet, page_of, boss) -> None:
    client, pk = page_of(boss), fleet.visit.pk
    address = reverse("admin:visits_visit_change", args=[pk])
    assert client.get(address).status_code == 200
    assert client.post(address, {"notes": "x"}).status_code == 403
    assert client.post(reverse("admin:visits_visit_delete", args=[pk]), {"post": "yes"}).status_code == 403
