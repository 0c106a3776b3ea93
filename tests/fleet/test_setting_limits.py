"""An administrator sets a limit; the record says who, when, what stood before and what stands now."""

import importlib
import re
from datetime import date
from pathlib import Path

import pytest
from django.conf import settings
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from common.models import AuditLine
from fleet.models import SafetyLimit
from fleet.selectors import limits_in_force
from fleet.services import limit_set
from people.models import Role
from tests.factories import CustomerFactory, UserFactory

LIMIT = {
    "quantity": "co_air_free_ppm",
    "level": "make_safe",
    "value": 200.0,
    "country": "GB",
    "source": "the firm's own decision of March 2026",
    "mark": "own",
    "in_force_on": date(2026, 3, 1),
}
shipped = importlib.import_module("fleet.migrations.0002_shipped_safety_limits")


@pytest.fixture
def administrator(db):
    return UserFactory(role=Role.ADMINISTRATOR)


def in_force(country, on, customer_id=None):
    return limits_in_force(country, customer_id, on)["co_air_free_ppm", "make_safe"]


def browser(person):
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_a_limit_holds_from_its_day_and_the_record_has_both_values(administrator):
    before = limits_in_force("US", None, date(2026, 3, 1))["co_air_free_ppm", "make_safe"]
    limit_set(by=administrator, **LIMIT | {"country": "US"})
    assert (
        limits_in_force("US", None, date(2026, 2, 28))["co_air_free_ppm", "make_safe"].value == before.value
    )
    assert limits_in_force("US", None, date(2026, 3, 1))["co_air_free_ppm", "make_safe"].value == 200.0
    line = AuditLine.objects.get(verb="limit_set")
    assert (line.actor_id, line.detail["old"]["value"], line.detail["new"]["value"]) == (
        administrator.pk,
        before.value,
        200.0,
    )
    assert line.detail["old"]["source"] == before.source


def test_a_second_one_for_the_same_day_takes_the_firsts_place(administrator):
    first = limit_set(by=administrator, **LIMIT)
    second = limit_set(by=administrator, **LIMIT | {"value": 250.0})
    assert first.pk == second.pk
    old = [line.detail["old"] for line in AuditLine.objects.order_by("pk")]
    assert old[0] is None  # Great Britain had none of this quantity
    assert old[1]["value"] == 200.0


def test_a_customers_own_limit_leaves_the_others_alone(administrator):
    customer = CustomerFactory()
    limit_set(by=administrator, **LIMIT | {"country": ""}, customer=customer)
    assert in_force("", date(2026, 4, 1), customer.pk).value == 200.0
    assert in_force("", date(2026, 4, 1)).value == 400.0


@pytest.mark.parametrize("role", [Role.OFFICE, Role.MANAGER, Role.TECHNICIAN, Role.CONTACT])
def test_nobody_else_sets_a_limit(db, role):
    before = SafetyLimit.objects.count()
    with pytest.raises(PermissionDenied):
        limit_set(by=UserFactory(role=role), **LIMIT)
    answer = browser(UserFactory(role=role)).post("/limits/set/", LIMIT)
    assert answer.status_code == 403
    assert (SafetyLimit.objects.count(), AuditLine.objects.count()) == (before, 0)


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"value": -1.0}, "__all__"), ({"quantity": "smell"}, "quantity"), ({"source": ""}, "source")],
)
def test_a_limit_that_cannot_be_is_refused_and_leaves_no_record(administrator, changes, field):
    before = SafetyLimit.objects.count()
    with pytest.raises(ValidationError) as refusal:
        limit_set(by=administrator, **LIMIT | changes)
    assert field in refusal.value.message_dict
    assert (SafetyLimit.objects.count(), AuditLine.objects.count()) == (before, 0)


def test_the_page_sets_a_limit_and_shows_the_change(administrator):
    client = browser(administrator)
    answer = client.post("/limits/set/", LIMIT | {"country": "gb", "customer": ""})
    assert (answer.status_code, answer.url) == (302, "/limits/")
    text = client.get("/limits/").content.decode()
    assert "own decision of March 2026" in text
    assert str(administrator) in text
    refused = client.post("/limits/set/", LIMIT | {"value": "-3", "country": "Britain"})
    assert refused.status_code == 200
    assert "country" in refused.context["form"].errors
    again = client.post("/limits/set/", LIMIT | {"value": "-3"})
    assert "between 0 and 100000" in again.content.decode().replace("100,000", "100000").replace(
        "1e+05", "100000"
    )


def test_everyone_of_the_firm_reads_the_limits_and_only_the_administrator_is_offered_to_set_one(
    administrator,
):
    technician = browser(UserFactory(role=Role.TECHNICIAN)).get("/limits/").content.decode()
    assert "Gas Safe Technical Bulletin 143" in technician
    assert "/limits/set/" not in technician
    assert "/limits/set/" in browser(administrator).get("/limits/").content.decode()


def test_the_documents_table_is_the_shipped_set():
    text = (Path(settings.BASE_DIR) / "docs" / "limits.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \| (\w+) \| ([\d.]+) \| (\w+) \| (\w+) \| (.*) \|$", text, re.MULTILINE)
    told = [
        (quantity, level, float(value), "" if country == "everywhere" else country, source, mark)
        for quantity, level, value, country, mark, source in rows
    ]
    assert told == shipped.LIMITS
