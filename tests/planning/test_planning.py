"""Due dates and follow-ups as they stand after visits, corrections, imports and nights."""

import uuid
from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from common.models import OutboxEvent
from common.outbox import announce, work_through
from common.problems import Problem
from fleet.models import Appliance
from people.models import Role
from planning import tasks
from planning.models import DueDate, FollowUp, PlanningRun
from planning.services import fleet_plan, follow_up_close, plan_appliances
from tests.factories import ApplianceFactory, ContractFactory, PlantFactory, UserFactory, VisitFactory
from visits.models import Kind, Outcome, Visit

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def contracted(appliance=None, **terms):
    appliance = appliance or ApplianceFactory()
    contract = ContractFactory(customer=appliance.plant.site.customer, **terms)
    contract.plants.add(appliance.plant)
    return appliance


def seen(appliance, on, outcome=Outcome.COMPLETED, **values):
    at = datetime(on.year, on.month, on.day, 9, tzinfo=UTC)
    return VisitFactory(
        appliance=appliance, local_on=on, opened_at=at, closed_at=at, outcome=outcome, **values
    )


def plan(*appliances, today=TODAY):
    return plan_appliances([appliance.pk for appliance in appliances], today=today)


def due(appliance, today=TODAY):
    plan(appliance, today=today)
    row = DueDate.objects.get(appliance=appliance)
    appliance.refresh_from_db()
    assert appliance.next_due_on == row.due_on
    return row


def follow_up(visit):
    plan(visit.appliance)
    return FollowUp.objects.filter(visit=visit).first()


def test_a_completed_annual_service_moves_the_date_and_is_named_as_its_basis():
    appliance = contracted()
    visit = seen(appliance, date(2025, 5, 10))
    row = due(appliance)
    assert (row.due_on, row.window_from, row.window_to) == (
        date(2026, 5, 10),
        date(2026, 4, 10),
        date(2026, 6, 9),
    )
    assert (row.basis_visit, row.rule, row.reason) == (visit, "from_last_done", "")


def test_a_visit_dated_years_ahead_keeps_nobody_away_and_closes_no_follow_up():
    appliance = contracted()
    visit = seen(appliance, date(2025, 5, 10))
    unfinished = seen(appliance, date(2025, 6, 1), Outcome.PART_NEEDED)
    mistyped = seen(appliance, date(2090, 5, 10))
    row = due(appliance)
    assert (row.due_on, row.basis_visit) == (date(2026, 5, 10), visit)
    assert follow_up(unfinished).state == FollowUp.State.OPEN
    assert due(appliance, today=date(2090, 5, 9)).basis_visit == mistyped


def test_commissioning_counts_and_a_recheck_or_breakdown_does_not():
    appliance = contracted()
    seen(appliance, date(2025, 5, 10), kind=Kind.COMMISSIONING)
    seen(appliance, date(2025, 9, 1), kind=Kind.RECHECK)
    seen(appliance, date(2025, 10, 1), kind=Kind.BREAKDOWN)
    assert due(appliance).due_on == date(2026, 5, 10)


@pytest.mark.parametrize("outcome", [value for value in Outcome.values if value != Outcome.COMPLETED])
def test_a_visit_that_was_not_completed_leaves_the_date_and_becomes_a_follow_up(outcome):
    appliance = contracted()
    seen(appliance, date(2025, 2, 10))
    visit = seen(appliance, date(2026, 2, 12), outcome)
    assert due(appliance).due_on == date(2026, 2, 10)
    assert (follow_up(visit).cause, follow_up(visit).state) == (outcome, "open")


def test_an_open_visit_moves_nothing():
    appliance = contracted()
    seen(appliance, date(2025, 2, 10))
    VisitFactory(appliance=appliance)
    assert due(appliance).due_on == date(2026, 2, 10)
    assert not FollowUp.objects.exists()


def test_an_uncountersigned_visit_moves_the_date_only_when_it_is_countersigned():
    appliance = contracted()
    seen(appliance, date(2025, 2, 10))
    visit = seen(appliance, date(2026, 2, 12), uncountersigned=True)
    assert due(appliance).due_on == date(2026, 2, 10)
    assert follow_up(visit).cause == "uncountersigned"
    Visit.objects.filter(pk=visit.pk).update(
        uncountersigned=False, countersigned_by=UserFactory(), countersigned_at=NOON
    )
    assert due(appliance).due_on == date(2027, 2, 12)
    assert follow_up(visit).state == "done"


def test_never_seen_is_due_from_its_installation():
    appliance = contracted(ApplianceFactory(installed_on=date(2026, 2, 1)))
    row = due(appliance)
    assert (row.due_on, row.basis_visit) == (date(2026, 2, 1), None)


def test_without_a_contract_there_is_no_date_but_a_reason():
    row = due(ApplianceFactory())
    assert (row.due_on, row.reason) == (None, "no_contract")


def test_after_the_contract_has_ended_there_is_no_date_but_a_reason():
    appliance = contracted(ends_on=date(2026, 3, 2))
    assert due(appliance).due_on is not None
    assert due(appliance, today=date(2026, 3, 3)).reason == "contract_ended"
    assert due(appliance).due_on is not None


def test_a_renewed_contract_does_not_forgive_what_was_owed():
    appliance = contracted(starts_on=date(2020, 1, 1), ends_on=date(2025, 12, 31))
    seen(appliance, date(2024, 6, 1))
    contracted(appliance, starts_on=date(2026, 1, 1))
    row = due(appliance)
    assert (row.due_on, row.contract.starts_on) == (date(2025, 6, 1), date(2026, 1, 1))


@pytest.mark.parametrize("level", ["appliance", "plant", "site", "customer"])
def test_retiring_at_any_level_takes_the_date_away_and_withdraws_follow_ups(level):
    appliance = contracted()
    visit = seen(appliance, date(2026, 2, 12), Outcome.NO_ACCESS)
    plan(appliance)
    rows = {"appliance": appliance, "plant": appliance.plant, "site": appliance.plant.site}
    row = rows.get(level, appliance.plant.site.customer)
    row.retired_on = TODAY
    row.save()
    assert due(appliance).reason == "retired"
    assert follow_up(visit).state == "withdrawn"


def test_overdue_stays_overdue_until_seen():
    appliance = contracted()
    seen(appliance, date(2020, 5, 10))
    plan(appliance)
    assert list(DueDate.objects.overdue(TODAY).values_list("appliance", flat=True)) == [appliance.pk]
    seen(appliance, date(2026, 2, 20))
    plan(appliance)
    assert not DueDate.objects.overdue(TODAY).exists()


def test_every_dated_appliance_is_overdue_due_or_upcoming_and_only_one_of_them():
    appliance = contracted()
    seen(appliance, date(2025, 5, 10))
    row = due(appliance)
    for days in range(-400, 200):
        today = row.due_on + timedelta(days=days)
        lists = [DueDate.objects.overdue(today), DueDate.objects.due(today), DueDate.objects.upcoming(today)]
        assert sum(rows.exists() for rows in lists) == 1


def test_a_later_completed_visit_closes_a_follow_up_and_an_earlier_one_does_not():
    appliance = contracted()
    seen(appliance, date(2026, 1, 5))
    visit = seen(appliance, date(2026, 2, 12), Outcome.PART_NEEDED)
    assert follow_up(visit).state == "open"
    recheck = seen(appliance, date(2026, 2, 20), kind=Kind.RECHECK)
    assert (follow_up(visit).state, follow_up(visit).closed_by_visit) == ("done", recheck)
    seen(appliance, date(2026, 2, 25), kind=Kind.RECHECK)
    assert follow_up(visit).closed_by_visit == recheck


def test_a_correction_withdraws_a_follow_up_and_the_next_one_reopens_it():
    visit = seen(contracted(), date(2026, 2, 12), Outcome.NO_ACCESS)
    assert follow_up(visit).state == "open"
    Visit.objects.filter(pk=visit.pk).update(outcome=Outcome.COMPLETED)
    assert follow_up(visit).state == "withdrawn"
    Visit.objects.filter(pk=visit.pk).update(outcome=Outcome.REFUSED)
    assert (follow_up(visit).state, follow_up(visit).cause) == ("open", "refused")
    assert FollowUp.objects.count() == 1


def test_a_follow_up_reopens_when_the_visit_that_closed_it_turns_out_not_completed():
    appliance = contracted()
    visit = seen(appliance, date(2026, 2, 12), Outcome.NO_ACCESS)
    second = seen(appliance, date(2026, 2, 20))
    assert follow_up(visit).state == "done"
    Visit.objects.filter(pk=second.pk).update(outcome=Outcome.LEFT_OFF)
    assert (follow_up(visit).state, follow_up(visit).closed_by_visit) == ("open", None)


def test_the_offices_word_on_a_follow_up_stands():
    visit = seen(contracted(), date(2026, 2, 12), Outcome.LEFT_OFF)
    office = UserFactory()
    follow_up_close(by=office, follow_up=follow_up(visit), note="replaced by another firm")
    row = follow_up(visit)
    assert (row.state, row.done_by, row.note) == ("done", office, "replaced by another firm")
    with pytest.raises(Problem) as refused:
        follow_up_close(by=office, follow_up=row, note="again")
    assert (refused.value.status, refused.value.code) == (409, "follow_up_not_open")


def test_a_technician_may_not_close_a_follow_up():
    visit = seen(contracted(), date(2026, 2, 12), Outcome.LEFT_OFF)
    with pytest.raises(PermissionDenied):
        follow_up_close(by=UserFactory(role=Role.TECHNICIAN), follow_up=follow_up(visit), note="seen to")
    assert follow_up(visit).state == "open"


def test_planning_twice_writes_nothing_the_second_time():
    appliance = contracted()
    seen(appliance, date(2025, 2, 10))
    seen(appliance, date(2026, 2, 12), Outcome.NO_ACCESS)
    assert plan(appliance).changed == 1
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert plan(appliance).changed == 0
    assert not [q for q in queries if q["sql"].startswith(("INSERT", "UPDATE"))]


def test_the_same_number_of_queries_for_2_appliances_as_for_50():
    """Lock; appliances, follow-ups, visits named, contracts, unfinished, due dates; write dates, write the
    appliances' columns, write follow-ups; and a savepoint's two."""
    counts = []
    for size in (2, 50):
        plant = PlantFactory()
        ContractFactory(customer=plant.site.customer).plants.add(plant)
        rows = [ApplianceFactory(plant=plant) for _ in range(size)]
        for row in rows:
            seen(row, date(2025, 2, 10))
            seen(row, date(2026, 2, 12), Outcome.NO_ACCESS)
        with CaptureQueriesContext(connection) as queries:
            assert plan(*rows).changed == size
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_a_closed_visit_told_through_the_outbox_is_planned():
    appliance = contracted()
    visit = seen(appliance, date(2025, 5, 10))
    announce("visit.closed", visit.pk, appliance=appliance.pk)
    work_through(timezone.now())
    assert DueDate.objects.get(appliance=appliance).due_on == date(2026, 5, 10)
    Visit.objects.filter(pk=visit.pk).update(outcome=Outcome.NO_ACCESS)
    announce("visit.corrected", visit.pk, appliance=appliance.pk)
    work_through(timezone.now())
    assert DueDate.objects.get(appliance=appliance).due_on == date(2020, 1, 1)
    assert FollowUp.objects.get(visit=visit).state == "open"


def test_an_event_of_an_appliance_that_is_gone_harms_nothing():
    tasks.visit_told(OutboxEvent(kind="visit.closed", subject_id=1, payload={"appliance": 999_999}))
    assert not DueDate.objects.exists()


def test_an_import_has_the_whole_fleet_planned_once_by_the_tick():
    tasks.plan_what_is_owed(NOON)
    appliances = [contracted(), ApplianceFactory()]
    announce("visits.imported", 0, visits=2)
    work_through(timezone.now())
    assert not DueDate.objects.exists()
    event = OutboxEvent.objects.get()
    assert tasks.plan_what_is_owed(NOON) == {f"import {event.pk}": 2}
    assert set(DueDate.objects.values_list("appliance", flat=True)) == {row.pk for row in appliances}
    assert tasks.plan_what_is_owed(NOON) == {}


def test_the_fleet_is_planned_once_a_day_and_finds_what_the_calendar_changed():
    appliance = contracted(ends_on=date(2026, 3, 2))
    assert tasks.plan_what_is_owed(NOON) == {"2026-03-02": 1}
    assert tasks.plan_what_is_owed(NOON + timedelta(hours=5)) == {}
    assert tasks.plan_what_is_owed(NOON + timedelta(days=1)) == {"2026-03-03": 1}
    assert DueDate.objects.get(appliance=appliance).reason == "contract_ended"


def test_a_run_that_another_process_holds_is_left_alone_until_it_is_taken_for_dead():
    PlanningRun.objects.create(period="2026-03-02", started_at=NOON - timedelta(minutes=5))
    assert tasks.plan_what_is_owed(NOON) == {}
    assert tasks.plan_what_is_owed(NOON + timedelta(hours=1)) == {"2026-03-02": 0}


def test_the_fleet_is_planned_in_chunks_that_miss_none(monkeypatch):
    monkeypatch.setattr("planning.services.CHUNK", 2)
    for _ in range(5):
        contracted()
    steps = []
    planned = fleet_plan(today=TODAY, progress=steps.append)
    assert (planned.seen, planned.changed, steps) == (5, 5, [2, 2, 1])
    assert DueDate.objects.count() == 5


def test_the_command_counts_and_a_dry_run_writes_nothing(capsys):
    contracted()
    one = contracted()
    call_command("plan_due", "--dry-run")
    assert capsys.readouterr().out == "2 appliances looked at, 2 would change.\n"
    assert not DueDate.objects.exists()
    call_command("plan_due", "--appliance", str(one.uuid))
    assert capsys.readouterr().out == "1 appliances looked at, 1 changed.\n"
    call_command("plan_due")
    assert capsys.readouterr().out == "2 appliances looked at, 1 changed.\n"
    assert not Appliance.objects.filter(next_due_on=None).exists()


def test_the_command_refuses_an_unknown_appliance_by_name():
    unknown = uuid.uuid4()
    with pytest.raises(CommandError, match=str(unknown)):
        call_command("plan_due", "--appliance", str(unknown))
