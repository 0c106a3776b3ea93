"""The life of a finding: steps are only added; a later visit ends what it settles, never a make-safe one."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from common.outbox import announce, work_through
from common.problems import Problem
from tests import factories as make
from visits.models import Finding, FindingLife, Life, Visit
from visits.remedies import finding_move, findings_settle, findings_settle_all

FIRST = datetime(2025, 3, 2, 9, 0, tzinfo=UTC)


def visit_of(appliance, days=0, outcome="completed", **more):
    at = FIRST + timedelta(days=days)
    closed = {"closed_at": at + timedelta(hours=1), "outcome": outcome} if outcome else {}
    return make.VisitFactory(appliance=appliance, opened_at=at, local_on=at.date(), **closed, **more)


def finding_of(visit, code="found_outside_acceptance", severity="act", **more):
    return Finding.objects.create(
        visit=visit,
        appliance=visit.appliance,
        code=code,
        severity=severity,
        made_at=visit.opened_at,
        **more,
    )


@pytest.fixture
def office(db):
    return make.UserFactory(role="office")


@pytest.fixture
def finding(db):
    return finding_of(visit_of(make.ApplianceFactory()))


def test_each_step_is_added_and_the_finding_repeats_the_last(office, finding):
    quoted = finding_move(by=office, finding=finding, to=Life.QUOTED, last_step=0, note="£240 with labour")
    accepted = finding_move(
        by=office,
        finding=finding,
        to=Life.ACCEPTED,
        last_step=quoted.pk,
        said_by="Mrs Rowe",
        owner=office,
        due_on=FIRST.date(),
    )
    finding.refresh_from_db()
    assert (finding.life, finding.owner, finding.due_on) == ("accepted", office, FIRST.date())
    assert [step.pk for step in finding.steps.all()] == [quoted.pk, accepted.pk]
    assert Finding.objects.open().get() == finding


def test_the_second_of_two_movers_is_told_what_the_first_did(office, finding):
    finding_move(by=office, finding=finding, to=Life.QUOTED, last_step=0)
    with pytest.raises(Problem) as refusal:
        finding_move(by=office, finding=finding, to=Life.DONE, last_step=0)
    assert refusal.value.code == "moved_meanwhile"
    assert "quoted" in refusal.value.detail
    assert str(office) in refusal.value.detail
    assert FindingLife.objects.count() == 1


@pytest.mark.parametrize(
    ("severity", "life", "to", "field"),
    [
        ("act", "open", "declined", "/said_by"),
        ("make_safe", "open", "done", "/note"),
        ("act", "done", "open", "/note"),
    ],
)
def test_what_is_missing_is_named_and_nothing_is_written(office, severity, life, to, field):
    finding = finding_of(visit_of(make.ApplianceFactory()), severity=severity, life=life)
    with pytest.raises(Problem) as refusal:
        finding_move(by=office, finding=finding, to=to, last_step=0)
    assert [row["field"] for row in refusal.value.errors] == [field]
    finding.refresh_from_db()
    assert (finding.life, finding.steps.count()) == (life, 0)


def test_a_visit_of_another_appliance_ends_nothing(office, finding):
    other = visit_of(make.ApplianceFactory(), 10)
    with pytest.raises(Problem) as refusal:
        finding_move(by=office, finding=finding, to=Life.DONE, last_step=0, visit=other)
    assert refusal.value.code == "other_appliance"


def test_a_technician_says_what_is_done_and_a_contact_nothing(finding):
    technician, contact = make.UserFactory(role="technician"), make.UserFactory(role="contact")
    for person, to in ((technician, Life.ACCEPTED), (contact, Life.DONE)):
        with pytest.raises(PermissionDenied):
            finding_move(by=person, finding=finding, to=to, last_step=0)
    finding_move(by=technician, finding=finding, to=Life.DONE, last_step=0)
    assert Finding.objects.get().life == "done"


def test_a_later_completed_visit_ends_open_findings_of_earlier_ones_and_no_others(office):
    appliance = make.ApplianceFactory()
    first, later = visit_of(appliance), visit_of(appliance, 300)
    ends = finding_of(first)
    grave = finding_of(first, code="co_make_safe", severity="make_safe")
    quoted = finding_of(first, code="flue_temp_high", life="quoted")
    own = finding_of(later)
    elsewhere = finding_of(visit_of(make.ApplianceFactory()))
    assert findings_settle(appliance.pk) == 1
    lives = {row.pk: (row.life, row.done_on_visit) for row in Finding.objects.all()}
    assert lives[ends.pk] == ("done", later)
    assert lives[grave.pk] == ("open", None)
    assert lives[quoted.pk] == ("quoted", None)
    assert lives[own.pk] == lives[elsewhere.pk] == ("open", None)
    step = FindingLife.objects.get()
    assert (step.finding, step.life, step.visit, step.by) == (ends, "done", later, None)
    assert findings_settle(appliance.pk) == 0


@pytest.mark.parametrize(
    "later",
    [{"outcome": "no_access"}, {"outcome": ""}, {"uncountersigned": True}],
    ids=["no access", "still open", "not countersigned"],
)
def test_a_visit_that_did_not_complete_ends_nothing(finding, later):
    visit_of(finding.appliance, 300, **later)
    assert findings_settle(finding.appliance_id) == 0
    assert findings_settle_all() == 0


def test_a_visit_corrected_to_no_access_opens_again_what_it_had_ended(office, finding):
    later = visit_of(finding.appliance, 300)
    findings_settle(finding.appliance_id)
    Visit.objects.filter(pk=later.pk).update(outcome="no_access")
    assert findings_settle(finding.appliance_id) == 1
    finding.refresh_from_db()
    assert (finding.life, finding.done_on_visit) == ("open", None)
    assert [step.life for step in finding.steps.all()] == ["done", "open"]


def test_an_import_ends_everything_in_one_statement(db, django_assert_num_queries):
    appliance = make.ApplianceFactory()
    rows = [finding_of(visit_of(appliance, 360 * year)) for year in range(4)]
    with django_assert_num_queries(1):
        assert findings_settle_all() == 3
    visits = [row.visit for row in rows]
    assert [row.done_on_visit for row in Finding.objects.order_by("pk")] == [*visits[1:], None]


def test_appliances_are_settled_in_as_many_queries_whatever_there_is(db, django_assert_num_queries):
    """Two reads, one insert, one rewrite, and the savepoint around them."""
    for count in (2, 50):
        appliance = make.ApplianceFactory()
        first = visit_of(appliance)
        for number in range(count):
            finding_of(first, subject=f"test:{number}")
        visit_of(appliance, 300)
        other = finding_of(visit_of(make.ApplianceFactory()))
        visit_of(other.appliance, 300)
        with django_assert_num_queries(6):
            assert findings_settle(appliance.pk, other.appliance_id) == count + 1


def test_the_outbox_settles_after_a_visit_and_after_an_import(finding):
    later = visit_of(finding.appliance, 300)
    announce("visit.closed", later.pk, appliance=finding.appliance_id)
    work_through(timezone.now())
    finding.refresh_from_db()
    assert finding.done_on_visit == later
    imported = finding_of(visit_of(make.ApplianceFactory()))
    visit_of(imported.appliance, 300)
    announce("visits.imported", 0, visits=2)
    work_through(timezone.now())
    imported.refresh_from_db()
    assert imported.life == "done"
