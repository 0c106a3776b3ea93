"""Each role's first page answers what needs that person now."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.models import SiteContact
from tests import factories as make
from tests.web.conftest import TODAY
from visits.booking import attendance_book
from visits.models import Finding


@pytest.mark.parametrize(
    ("role", "first"),
    [("office", "today"), ("manager", "condition"), ("technician", "my-day"), ("contact", "my-sites")],
)
def test_each_role_lands_on_its_own_page(fleet, page_of, role: str, first: str) -> None:
    answer = page_of(getattr(fleet, role)).get(reverse("web:home"), follow=True)
    assert answer.request["PATH_INFO"] == reverse(f"web:{first}")
    assert answer.status_code == 200


def test_todays_page_shows_what_waits_in_every_queue(fleet, page_of) -> None:
    queues = page_of(fleet.office).get(reverse("web:today")).context["queues"]
    assert [row.code for row in queues.make_safe.rows] == ["co_make_safe"]
    assert [row.appliance for row in queues.overdue.rows] == [fleet.appliance]
    assert [row.cause for row in queues.follow_ups.rows] == ["no_heat_load"]
    assert [row.code for row in queues.not_put_back.rows] == ["not_put_back"]
    assert len(queues.licences) == 1
    assert [row.analyser.tag for row in queues.calibrations] == ["P4-07"]


def test_a_calibration_that_a_newer_one_replaced_is_not_asked_for(fleet, page_of) -> None:
    old = page_of(fleet.office).get(reverse("web:today")).context["queues"].calibrations[0]
    make.AnalyserPeriodFactory(
        analyser=old.analyser, starts_on=TODAY, calibration_due_on=TODAY + timedelta(days=365)
    )
    assert page_of(fleet.office).get(reverse("web:today")).context["queues"].calibrations == []


def test_the_technicians_day_is_in_order_with_what_stands_and_what_was_found(fleet, page_of) -> None:
    for plant in (fleet.appliance.plant, fleet.other_appliance.plant):
        attendance_book(by=fleet.office, plant=plant, technician=fleet.technician, on=TODAY)
    answer = page_of(fleet.technician).get(reverse("web:my-day"))
    first, second = answer.context["rows"]
    assert [row.appliance.tag for row in first.appliances] == ["B1", "B2"]
    assert first.appliances[0].last_time[0].found_co2_pct == 9.55
    assert first.appliances[0].last_time[0].left_co2_pct == 9.02
    assert {row.code for row in second.appliances[0].standing} == {"co_make_safe", "not_put_back"}
    assert "Key at reception" in answer.text
    assert "T40" in answer.text


def test_somebody_elses_day_is_not_shown(fleet, page_of) -> None:
    other = make.UserFactory(role="technician")
    attendance_book(by=fleet.office, plant=fleet.appliance.plant, technician=fleet.technician, on=TODAY)
    assert page_of(other).get(reverse("web:my-day")).context["rows"] == []


def test_a_contact_sees_own_sites_in_plain_words_and_is_warned(fleet, page_of) -> None:
    text = page_of(fleet.contact).get(reverse("web:my-sites")).text
    assert fleet.site.name in text
    assert fleet.other_appliance.plant.site.name not in text
    assert "Keep this appliance off." not in text
    SiteContact.objects.create(site=fleet.other_appliance.plant.site, user=fleet.contact)
    assert "Keep this appliance off." in page_of(fleet.contact).get(reverse("web:my-sites")).text


def test_the_firms_own_paperwork_is_not_the_contacts_business(fleet, page_of) -> None:
    Finding.objects.create(
        visit=fleet.visit,
        appliance=fleet.appliance,
        code="licence_lapsed",
        severity="act",
        made_at=fleet.visit.opened_at,
    )
    assert "Licence lapsed" not in page_of(fleet.contact).get(reverse("web:my-sites")).text


@pytest.mark.parametrize(("role", "page"), [("technician", "my-day"), ("contact", "my-sites")])
def test_two_appliances_and_fifty_cost_the_same_queries(fleet, page_of, role: str, page: str) -> None:
    attendance_book(by=fleet.office, plant=fleet.appliance.plant, technician=fleet.technician, on=TODAY)
    client = page_of(getattr(fleet, role))
    plant, model, counts = fleet.appliance.plant, fleet.appliance.model, []
    for numbers in (range(0), range(48)):
        for number in numbers:
            make.ApplianceFactory(plant=plant, tag=f"more-{number}", model=model)
        with CaptureQueriesContext(connection) as caught:
            assert client.get(reverse(f"web:{page}")).status_code == 200
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_the_probes_answer_whoever_asks(db, client) -> None:
    assert client.get(reverse("web:healthz")).json() == {"status": "alive"}
    assert client.get(reverse("web:readyz")).json() == {"status": "ready"}


def test_a_server_that_is_behind_its_migrations_is_not_ready(db, client, monkeypatch) -> None:
    plan = "web.views.health.MigrationExecutor.migration_plan"
    monkeypatch.setattr(plan, lambda self, targets: ["one"])
    answer = client.get(reverse("web:readyz"))
    assert answer.status_code == 503
    assert answer.json()["count"] == 1
