"""Alerts: once per cause, told once, acknowledged once; and earlier visits accepted or declined."""

from datetime import date, timedelta

import pytest
from django.core import mail
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from analytics.alerting import alert_acknowledge, alerts_raise, appliance_alerts_raise, chance_on
from analytics.mailing import alerts_mail
from analytics.models import Alert, ApplianceDrift, DriftRun, GasShift, PeriodBias
from analytics.selectors import alert_sentence
from analytics.tasks import alerts_what_is_owed
from common.problems import Problem
from planning.earlier import earlier_visit_decide, earlier_visits_waiting
from planning.models import DueDate, EarlierVisit
from planning.services import plan_appliances
from tests import factories as make
from tests.web.conftest import TODAY
from tests.web.drift_rows import a_run

NOW = timezone.now()


@pytest.fixture
def run(fleet):
    run = a_run(fleet, TODAY)
    GasShift.objects.create(
        run=run,
        gas_area=fleet.site.gas_area,
        month=TODAY.replace(day=1),
        shift_pct=2.1,
        shift_u_pct=0.4,
        readings=30,
        weak=True,
    )
    ApplianceDrift.objects.filter(appliance=fleet.other_appliance).update(
        next_visit_by=TODAY + timedelta(days=9), next_visit_reason="outside", outside=[[f"{TODAY}", 0.7]]
    )
    return run


def kinds() -> list[str]:
    return sorted(Alert.objects.filter(holds=True).values_list("kind", flat=True))


def test_a_run_raises_each_cause_once_however_often_it_is_looked_through(run, fleet) -> None:
    assert alerts_raise(run, now=NOW) == 4
    assert kinds() == ["analyser", "gas", "outside", "wanderer"]
    assert alerts_raise(run, now=NOW) == 0
    assert appliance_alerts_raise(run, fleet.appliance.pk, now=NOW) == 0
    assert Alert.objects.count() == 4
    said = {row.kind: alert_sentence(row) for row in Alert.objects.with_subject()}
    assert said["wanderer"] == "B1, Fenwick Road School: a trim wanders (probability 0.97)."
    assert "reads +0.40 % CO2 against the truth (95 %: +0.34 to +0.46)" in said["analyser"]
    assert "richer by 2.1 %" in said["gas"]


def test_a_cause_that_ceases_drops_out_and_is_not_new_when_it_comes_back(run, fleet) -> None:
    alerts_raise(run, now=NOW)
    ApplianceDrift.objects.filter(appliance=fleet.appliance).update(flagged=False, next_visit_by=None)
    appliance_alerts_raise(run, fleet.appliance.pk, now=NOW)
    assert kinds() == ["analyser", "gas", "outside"]
    ApplianceDrift.objects.filter(appliance=fleet.appliance).update(flagged=True)
    assert alerts_raise(run, now=NOW + timedelta(days=30)) == 0
    assert Alert.objects.filter(kind="wanderer").count() == 1
    # half a year later it is another cause, and so is one after a new part
    Alert.objects.filter(kind="wanderer").update(holds=False, ceased_at=NOW - timedelta(days=200))
    assert alerts_raise(run, now=NOW) == 1
    fleet.appliance.burners.first().parts.create(part="gas valve", fitted_at=NOW)
    assert alerts_raise(run, now=NOW) == 1
    assert Alert.objects.filter(kind="wanderer", holds=True).count() == 1


def test_the_database_keeps_one_standing_alert_a_cause(run, fleet) -> None:
    alerts_raise(run, now=NOW)
    twin = Alert.objects.get(kind="wanderer")
    twin.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        twin.save(force_insert=True)


def test_what_is_unsure_old_or_small_is_not_told(run, fleet) -> None:
    PeriodBias.objects.update(weak=True)
    GasShift.objects.update(shift_u_pct=1.0)
    ApplianceDrift.objects.filter(flagged=False).update(outside=[[f"{TODAY}", 0.4]])
    alerts_raise(run, now=NOW)
    assert kinds() == ["wanderer"]


def test_the_tick_tells_the_office_in_one_letter_and_never_again(run, fleet) -> None:
    assert alerts_what_is_owed(NOW) == {"raised": 4, "mailed": 4}
    assert alerts_what_is_owed(NOW) == {"raised": 0, "mailed": 0}
    (letter,) = mail.outbox
    assert letter.subject == "Flueledger: 4 new alerts"
    assert set(letter.to) == {fleet.office.email, fleet.manager.email}
    assert "What to do: Do not just trim it again." in letter.body
    assert "Nothing here declares an appliance safe." in letter.body
    DriftRun.objects.update(alerted_at=None)
    assert alerts_what_is_owed(NOW) == {"raised": 0, "mailed": 0}


def test_a_letter_that_cannot_be_sent_is_sent_at_the_next_tick(run, fleet, monkeypatch) -> None:
    alerts_raise(run, now=NOW)

    def broken(self) -> None:
        raise ConnectionError

    with monkeypatch.context() as patch:
        patch.setattr("analytics.mailing.EmailMessage.send", broken)
        with pytest.raises(ConnectionError):
            alerts_mail(NOW)
    assert alerts_mail(NOW) == 4
    assert len(mail.outbox) == 1


def test_the_office_acknowledges_on_the_page_and_a_technician_never(run, fleet, page_of) -> None:
    alerts_raise(run, now=NOW)
    client, alert = page_of(fleet.office), Alert.objects.get(kind="analyser")
    address = reverse("web:alerts")
    assert alert_sentence(alert) in client.get(address).text
    client.post(reverse("web:alert-acknowledge", args=[alert.pk]), {"note": "sent to be calibrated"})
    alert.refresh_from_db()
    assert (alert.acknowledged_by, alert.note) == (fleet.office, "sent to be calibrated")
    assert alert not in [row for row, _, _ in client.get(address).context["lines"]]
    assert alert in [row for row, _, _ in client.get(address, {"show": "all"}).context["lines"]]
    with pytest.raises(Problem, match="already"):
        alert_acknowledge(by=fleet.office, alert=alert, note="")
    with pytest.raises(PermissionDenied):
        alert_acknowledge(by=fleet.technician, alert=alert, note="")
    assert list(Alert.objects.visible_to(fleet.technician)) == []
    assert client.get(reverse("web:today")).context["queues"].alert_count == "3"


def test_a_note_that_is_too_long_is_refused_with_its_limit_and_the_alert_waits(run, fleet, page_of) -> None:
    alerts_raise(run, now=NOW)
    client, alert = page_of(fleet.office), Alert.objects.get(kind="analyser")
    address = reverse("web:alert-acknowledge", args=[alert.pk])
    answer = client.post(address, {"note": "x" * 401}, follow=True)
    assert "What is done about it has 401 letters; it may have 400." in answer.text
    alert.refresh_from_db()
    assert (alert.acknowledged_at, alert.note) == (None, "")


def test_the_probability_on_the_annual_date_lies_between_the_days_that_are_told() -> None:
    rows = [(date(2026, 1, 1), 0.2), (date(2026, 1, 11), 0.4)]
    assert chance_on(rows, date(2026, 1, 6)) == pytest.approx(0.3)
    assert [chance_on(rows, day) for day in (None, date(2027, 1, 1), date(2025, 1, 1))] == [0.4, 0.4, 0.2]
    assert chance_on([], None) is None


def in_a_while(fleet) -> date:
    """The date of an appliance whose contract asks for it in half a year."""
    plan_appliances([fleet.appliance.pk], today=TODAY)
    fleet.appliance.refresh_from_db()
    return fleet.appliance.next_due_on


def accept(fleet, **more):
    said = {"accept": True, "come_by": None, "reason": "it wanders", "today": TODAY} | more
    return earlier_visit_decide(by=fleet.office, appliance=fleet.appliance, **said)


def test_an_accepted_earlier_visit_moves_the_date_until_a_visit_meets_it(run, fleet) -> None:
    annual = in_a_while(fleet)
    assert annual > TODAY + timedelta(days=10)
    row = accept(fleet)
    due = DueDate.objects.get(appliance=fleet.appliance)
    assert (due.due_on, due.earlier) == (TODAY + timedelta(days=5), row)
    assert due.window_from <= due.due_on <= due.window_to <= annual + timedelta(days=31)
    assert "Throttle trim: wanders" in row.evidence
    plan_appliances([fleet.appliance.pk], today=TODAY)
    assert DueDate.objects.get(appliance=fleet.appliance).due_on == due.due_on
    assert fleet.appliance not in [one.appliance for one in earlier_visits_waiting(user=fleet.office)]
    with pytest.raises(Problem, match="answered already"):
        accept(fleet)
    make.VisitFactory(
        appliance=fleet.appliance,
        kind="recheck",
        opened_at=NOW,
        closed_at=NOW,
        local_on=TODAY,
        outcome="completed",
    )
    plan_appliances([fleet.appliance.pk], today=TODAY)
    after = DueDate.objects.get(appliance=fleet.appliance)
    assert (after.due_on, after.earlier) == (annual, None)
    assert fleet.appliance in [one.appliance for one in earlier_visits_waiting(user=fleet.office)]


def test_a_declined_one_moves_nothing_and_is_asked_again_after_the_next_visit_only(run, fleet) -> None:
    annual = in_a_while(fleet)
    accept(fleet, accept=False, reason="the plant is replaced in May")
    assert DueDate.objects.get(appliance=fleet.appliance).due_on == annual
    assert fleet.appliance not in [one.appliance for one in earlier_visits_waiting(user=fleet.office)]


def test_a_day_past_or_after_the_annual_date_is_refused_with_its_limits(run, fleet) -> None:
    annual = in_a_while(fleet)
    for day in (TODAY - timedelta(days=1), annual):
        with pytest.raises(Problem, match="it must lie from"):
            accept(fleet, come_by=day)
    ApplianceDrift.objects.update(next_visit_by=None, next_visit_reason="")
    with pytest.raises(Problem, match="No earlier visit"):
        accept(fleet)
    assert not EarlierVisit.objects.exists()


def test_the_office_answers_on_the_page(run, fleet, page_of) -> None:
    in_a_while(fleet)
    client, address = page_of(fleet.office), reverse("web:earlier", args=[fleet.appliance.pk])
    shown = client.get(reverse("web:earlier-list")).context["page"].rows
    assert [row.appliance for row in shown] == [fleet.appliance, fleet.other_appliance]
    assert "Throttle trim: wanders" in client.get(address).text
    refused = client.post(address, {"decision": "accepted", "come_by": "2020-01-01", "reason": "x"})
    assert "it must lie from" in refused.text
    assert client.post(address, {"decision": "accepted", "reason": "it wanders"}).status_code == 302
    assert "it wanders" in client.get(address).text
    assert "brought forward" in client.get(reverse("web:due")).text
