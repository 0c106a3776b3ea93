"""Safety states: set with a reason and who was told, the office told once, a notice to print."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from common.outbox import announce, work_through
from common.problems import Problem
from fleet.models import Appliance, SafetyEvent
from fleet.safety import safety_state_set
from tests import factories as make
from visits.models import Visit


def state_of(appliance) -> str:
    return Appliance.objects.get(pk=appliance.pk).safety_state


def set_off(fleet, **more):
    given = {"state": "left_off", "reason": "CO at high fire", "told": "Mr Hale", "last_event": 0}
    return safety_state_set(by=fleet.technician, appliance=fleet.appliance, **(given | more))


def test_a_state_is_kept_with_who_why_and_who_was_told(fleet) -> None:
    event = set_off(fleet, answer="acknowledged")
    assert state_of(fleet.appliance) == "left_off"
    assert (event.by, event.told, event.answer) == (fleet.technician, "Mr Hale", "acknowledged")


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"reason": ""}, "/reason"),
        ({"told": ""}, "/told"),
        ({"state": "with_advice", "told": "", "answer": "refused"}, "/told"),
        ({"state": "returned"}, "/state"),
        ({"at": timezone.now() + timedelta(days=1)}, "/at"),
    ],
)
def test_what_is_missing_is_named_and_nothing_is_written(fleet, given, field) -> None:
    with pytest.raises(Problem) as refusal:
        set_off(fleet, **given)
    assert [row["field"] for row in refusal.value.errors] == [field]
    assert SafetyEvent.objects.count() == 0
    assert state_of(fleet.appliance) == "in_service"


def test_nobody_reached_is_enough_to_leave_it_off(fleet) -> None:
    assert set_off(fleet, told="", answer="not_reached").state == "left_off"


def test_a_contact_sets_nothing(fleet) -> None:
    with pytest.raises(PermissionDenied):
        safety_state_set(
            by=fleet.contact, appliance=fleet.appliance, state="in_service", reason="x", last_event=0
        )


def test_the_office_is_told_once_of_what_is_off_and_not_of_what_returns(fleet, mailoutbox) -> None:
    event = set_off(fleet)
    for _ in range(3):
        work_through(timezone.now())
    assert [letter.subject for letter in mailoutbox] == ["Left off: B1, Fenwick Road School"]
    assert mailoutbox[0].to == [fleet.office.email]
    assert "CO at high fire" in mailoutbox[0].body
    set_off(fleet, state="returned", reason="valve replaced, tested", last_event=event.pk)
    work_through(timezone.now())
    assert len(mailoutbox) == 1


def left_off_visit(appliance, **more) -> Visit:
    at = timezone.now() - timedelta(hours=3)
    given = {"opened_at": at, "closed_at": at + timedelta(hours=1), "outcome": "left_off"}
    return make.VisitFactory(uuid=uuid4(), appliance=appliance, local_on=at.date(), **(given | more))


def test_a_visit_that_left_it_off_sets_the_state_once(fleet, mailoutbox) -> None:
    visit = left_off_visit(fleet.appliance)
    for kind in ("visit.closed", "visit.corrected"):
        announce(kind, visit.pk, appliance=fleet.appliance.pk)
        work_through(timezone.now())
    work_through(timezone.now())
    event = SafetyEvent.objects.get()
    assert (event.state, event.by, str(event.visit_uuid)) == ("left_off", visit.technician, str(visit.uuid))
    assert state_of(fleet.appliance) == "left_off"
    assert len(mailoutbox) == 1


def test_a_visit_that_comes_in_late_undoes_nothing_that_was_set_since(fleet) -> None:
    event = set_off(fleet)
    set_off(fleet, state="returned", reason="repaired", last_event=event.pk)
    visit = left_off_visit(fleet.appliance)
    announce("visit.closed", visit.pk, appliance=fleet.appliance.pk)
    work_through(timezone.now())
    assert state_of(fleet.appliance) == "returned"


def test_the_form_sets_it_and_the_second_editor_is_told(fleet, page_of) -> None:
    address = reverse("web:safety", args=[fleet.appliance.pk])
    typed = {"state": "isolated", "reason": "flue broken", "told": "Mr Hale", "last_event": 0}
    assert page_of(fleet.technician).post(address, typed).status_code == 302
    answer = page_of(fleet.office).post(address, {**typed, "reason": "typed meanwhile"})
    assert f"Meanwhile {fleet.technician} set it" in answer.text
    assert "typed meanwhile" in answer.text
    newest = SafetyEvent.objects.get().pk
    assert f'name="last_event" value="{newest}"' in answer.text


def test_a_time_is_read_by_the_clock_at_the_site(fleet, page_of) -> None:
    typed = {"state": "with_advice", "reason": "draughty", "at": "2026-07-01T09:30", "last_event": 0}
    page_of(fleet.office).post(reverse("web:safety", args=[fleet.appliance.pk]), typed)
    assert SafetyEvent.objects.get().at.isoformat() == "2026-07-01T08:30:00+00:00"


def test_a_notice_says_off_why_and_do_not_use_and_never_certifies(fleet, page_of) -> None:
    address = reverse("web:safety-notice", args=[set_off(fleet).pk])
    text = page_of(fleet.contact).get(address).text
    notice = text[text.index("<article") : text.index("</article>")]
    for words in ("left off", "Do not use this appliance", "CO at high fire", "Whom to call"):
        assert words in notice
    assert not re.search(r"\bsafe\b|certificate", notice, re.IGNORECASE)
    assert page_of(fleet.stranger).get(address).status_code == 404


def test_only_what_is_off_has_a_notice(fleet, page_of) -> None:
    event = set_off(fleet, state="with_advice")
    assert page_of(fleet.office).get(reverse("web:safety-notice", args=[event.pk])).status_code == 404


def test_what_is_off_waits_on_the_offices_first_page(fleet, page_of) -> None:
    set_off(fleet)
    page = page_of(fleet.office).get(reverse("web:today"))
    assert fleet.appliance in page.context["queues"].off.rows
    assert reverse("web:safety", args=[fleet.appliance.pk]) in page.text


def test_the_pages_cost_the_same_with_much_to_show(fleet, page_of) -> None:
    """Session, user, the appliance with its place, its events."""
    client = page_of(fleet.office)
    addresses = [reverse("web:safety", args=[fleet.appliance.pk]), reverse("web:today")]

    def queries() -> list[int]:
        counts = []
        for address in addresses:
            with CaptureQueriesContext(connection) as caught:
                assert client.get(address).status_code == 200
            counts.append(len(caught))
        return counts

    event = set_off(fleet)
    few = queries()
    for number in range(20):
        event = set_off(fleet, last_event=event.pk, reason=f"again {number}")
        make.ApplianceFactory(safety_state="left_off")
    assert queries() == few
