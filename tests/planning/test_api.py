"""Planning over REST: due list, follow-ups, history, the technician's day."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from people.models import Role
from planning.models import DueDate
from planning.services import plan_appliances
from tests.factories import (
    ApplianceFactory,
    ContractFactory,
    FiringTestFactory,
    PlantFactory,
    UserFactory,
    VisitFactory,
)
from visits.models import Kind, Outcome, TestResult

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)


@pytest.fixture
def office(api_of):
    return api_of(UserFactory(role=Role.OFFICE))


def seen(appliance, on, outcome=Outcome.COMPLETED, **values):
    at = datetime(on.year, on.month, on.day, 9, tzinfo=UTC)
    return VisitFactory(
        appliance=appliance, local_on=on, opened_at=at, closed_at=at, outcome=outcome, **values
    )


def contracted(last_seen_days_ago=None, plant=None):
    """An appliance under a yearly contract, planned for today."""
    today = timezone.localdate()
    plant = plant or PlantFactory()
    appliance = ApplianceFactory(plant=plant)
    if not plant.contracts.exists():
        ContractFactory(customer=plant.site.customer).plants.add(plant)
    if last_seen_days_ago is not None:
        seen(appliance, today - timedelta(days=last_seen_days_ago))
    plan_appliances([appliance.pk], today=today)
    return appliance


def due_tags(api, query=""):
    answer = api.get(f"/api/v1/due/{query}")
    assert answer.status_code == 200, answer.content
    return [row["appliance"]["tag"] for row in answer.data["results"]]


def test_the_due_list_by_status_soonest_first(office):
    upcoming, due = contracted(100), contracted(360)
    overdue, long_overdue = contracted(500), contracted(1000)
    undated = ApplianceFactory()
    retired = ApplianceFactory(retired_on=date(2025, 1, 1))
    plan_appliances([undated.pk, retired.pk], today=timezone.localdate())
    assert due_tags(office, "?status=overdue") == [long_overdue.tag, overdue.tag]
    assert due_tags(office, "?status=due") == [due.tag]
    assert due_tags(office, "?status=upcoming") == [upcoming.tag]
    assert due_tags(office, "?status=undated") == [undated.tag]
    assert due_tags(office) == [long_overdue.tag, overdue.tag, due.tag, upcoming.tag]
    assert due_tags(office, f"?before={timezone.localdate()}") == [long_overdue.tag, overdue.tag]


def test_a_due_row_says_what_it_rests_on(office):
    appliance = contracted(400)
    (row,) = office.get("/api/v1/due/").json()["results"]
    held = DueDate.objects.get(appliance=appliance)
    assert row["due_on"] == held.due_on.isoformat()
    assert (row["contract"], row["rule"]) == (held.contract.reference, "from_last_done")
    assert row["basis_visit"] == str(appliance.visits.get().uuid)
    assert row["appliance"]["plant"]["site"] == appliance.plant.site.name


def test_a_status_or_day_that_cannot_be_taken_is_refused_by_name(office):
    for query, field in (("status=late", "/status"), ("before=soon", "/before"), ("when=now", "/when")):
        answer = office.get(f"/api/v1/due/?{query}")
        assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, field)


def test_pages_hold_every_appliance_once_where_all_are_due_on_one_day(office):
    plant = PlantFactory()
    made = {contracted(plant=plant).tag for _ in range(9)}
    tags, address = [], "/api/v1/due/?page_size=2"
    while address:
        body = office.get(address).json()
        tags += [row["appliance"]["tag"] for row in body["results"]]
        address = body["next"]
    assert len(tags) == len(made)
    assert set(tags) == made


def test_follow_ups_are_listed_until_the_office_says_how_they_were_seen_to(office):
    visit = seen(contracted(), timezone.localdate(), Outcome.PART_NEEDED)
    plan_appliances([visit.appliance_id], today=timezone.localdate())
    (row,) = office.get("/api/v1/follow-ups/").json()["results"]
    assert (row["visit"], row["cause"]) == (str(visit.uuid), "part_needed")
    address = f"/api/v1/follow-ups/{row['id']}/done/"
    assert office.post(address, {}, format="json").json()["errors"][0]["field"] == "/note"
    done = office.post(address, {"note": "part fitted by the maker"}, format="json")
    assert (done.status_code, done.json()["state"]) == (200, "done")
    assert office.get("/api/v1/follow-ups/").json()["results"] == []
    assert len(office.get("/api/v1/follow-ups/?state=done").json()["results"]) == 1
    assert office.post(address, {"note": "again"}, format="json").status_code == 409


def test_history_is_newest_first_with_health_and_settled_values(office):
    appliance = ApplianceFactory()
    old = seen(appliance, date(2025, 3, 2))
    new = seen(appliance, date(2026, 3, 2), health_as_found=0.4, health_as_left=0.97)
    seen(ApplianceFactory(), date(2026, 3, 2))
    test = FiringTestFactory(visit=new, co2_pct=9.1, co_ppm=21.0)
    FiringTestFactory(visit=new, co2_pct=8.0, withdrawn_reason="probe was out")
    TestResult.objects.create(test=test, engine_version=2, verdict="inside", p_inside=0.96)
    TestResult.objects.create(test=test, engine_version=1, verdict="outside", p_inside=0.01)
    rows = office.get(f"/api/v1/appliances/{appliance.uuid}/history/").json()["results"]
    assert [row["uuid"] for row in rows] == [str(new.uuid), str(old.uuid)]
    assert (rows[0]["health_as_found"], rows[0]["health_as_left"]) == (0.4, 0.97)
    (told,) = rows[0]["tests"]
    assert (told["co2_pct"], told["co_ppm"], told["o2_pct"]) == (9.1, 21.0, None)
    assert (told["verdict"], told["p_inside"]) == ("inside", 0.96)
    assert told["burner"] == str(appliance.burners.get().uuid)


def one_due():
    contracted(400)


def one_follow_up():
    visit = seen(contracted(), timezone.localdate(), Outcome.NO_ACCESS, kind=Kind.RECHECK)
    plan_appliances([visit.appliance_id], today=timezone.localdate())


@pytest.mark.parametrize(("address", "make"), [("due/", one_due), ("follow-ups/", one_follow_up)])
def test_a_list_asks_once_of_the_database_for_2_rows_as_for_50(office, address, make):
    office.get("/api/v1/fuels/")
    counts = []
    for more in (2, 48):
        for _ in range(more):
            make()
        with CaptureQueriesContext(connection) as asked:
            office.get(f"/api/v1/{address}")
        counts.append(len(asked))
    assert counts == [2, 2]  # the token with its person; the rows with all that is joined


def test_a_history_asks_the_same_of_the_database_for_2_visits_as_for_50(office):
    """Token; appliance; visits; tests with burners; results."""
    appliance = ApplianceFactory()
    office.get("/api/v1/fuels/")
    counts = []
    for more in (2, 48):
        for _ in range(more):
            test = FiringTestFactory(visit=seen(appliance, date(2025, 3, 1)))
            TestResult.objects.create(test=test, engine_version=1, verdict="inside")
        with CaptureQueriesContext(connection) as asked:
            office.get(f"/api/v1/appliances/{appliance.uuid}/history/")
        counts.append(len(asked))
    assert counts == [5, 5]
