"""The remedial list and a finding's page: steps by form, refusals beside the field, the second mover told."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests import factories as make
from visits.models import Finding, FindingLife
from visits.remedies import finding_move


@pytest.fixture
def finding(fleet):
    return Finding.objects.get(code="co_make_safe")


def test_the_office_takes_a_step_and_the_list_shows_who_and_by_when(fleet, page_of, finding) -> None:
    client, address = page_of(fleet.office), reverse("web:finding", args=[finding.pk])
    typed = {"to": "quoted", "owner": fleet.technician.pk, "due_on": "2031-05-04", "last_step": 0}
    assert client.post(address, typed).status_code == 302
    text = client.get(reverse("web:findings"), {"life": "quoted"}).text
    assert "4 May 2031" in text
    assert str(fleet.technician) in text
    assert "quoted" in client.get(address).text


@pytest.mark.parametrize(
    ("typed", "field"), [({"to": "declined"}, "said_by"), ({"to": "done"}, "note"), ({"to": "gone"}, "to")]
)
def test_the_form_says_which_field_and_keeps_what_was_typed(fleet, page_of, finding, typed, field) -> None:
    address = reverse("web:finding", args=[finding.pk])
    answer = page_of(fleet.office).post(address, {**typed, "due_on": "2031-05-04", "last_step": 0})
    assert answer.status_code == 200
    assert list(answer.context["form"].errors) == [field]
    assert "2031-05-04" in answer.text
    assert FindingLife.objects.count() == 0


def test_the_second_mover_sees_the_first_ones_step_and_may_then_go_over_it(fleet, page_of, finding) -> None:
    client, address = page_of(fleet.office), reverse("web:finding", args=[finding.pk])
    first = finding_move(by=fleet.manager, finding=finding, to="quoted", last_step=0)
    typed = {"to": "accepted", "said_by": "Mrs Rowe", "last_step": 0}
    answer = client.post(address, typed)
    assert f"Meanwhile {fleet.manager} set this finding" in answer.text
    assert 'value="Mrs Rowe"' in answer.text
    assert f'name="last_step" value="{first.pk}"' in answer.text
    assert client.post(address, {**typed, "last_step": first.pk}).status_code == 302


def test_a_technician_is_offered_done_and_nothing_else(fleet, page_of, finding) -> None:
    client, address = page_of(fleet.technician), reverse("web:finding", args=[finding.pk])
    offered = client.get(address).context["form"].fields["to"].choices
    assert [value for value, _word in offered] == ["done"]
    assert client.post(address, {"to": "accepted", "last_step": 0}).status_code == 200
    assert FindingLife.objects.count() == 0


def test_a_findings_page_costs_the_same_with_many_steps_and_visits(fleet, page_of, finding) -> None:
    """Session, user, the finding with its place, its steps; owners and visits that the form offers."""
    client, address = page_of(fleet.office), reverse("web:finding", args=[finding.pk])

    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert client.get(address).status_code == 200
        return len(caught)

    few = queries()
    for _ in range(20):
        FindingLife.objects.create(finding=finding, life="open", by=make.UserFactory(role="office"))
        make.VisitFactory(appliance=finding.appliance, attendance=fleet.grave_visit.attendance)
    assert queries() == few
