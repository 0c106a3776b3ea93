"""Each thing that the demo plants is in the database, where its truth says."""

import json
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Analyser, AnalyserPeriod, Appliance, Contract, FiringSpec, GasArea, ModelTrim, Site
from people.models import Licence, User
from tests.demo.made.conftest import TODAY, MadeDemo
from visits.models import Attendance, Finding, FiringTest, Outcome, ServiceRecord, TemporaryChange, Visit
from visits.now import visit_now
from visits.service_record.checking import Standing, record_check
from web.demo import load
from web.demo.accounts import CONTACT_LOGIN, LOGINS
from web.demo.story import TECHNICIAN_LOGIN

pytestmark = [pytest.mark.django_db, pytest.mark.xdist_group("the demo, made once")]


@pytest.fixture
def manager(demo: MadeDemo) -> Client:
    """The demo's manager, signed in."""
    client = Client()
    person = User.objects.filter(role="manager").earliest("pk")
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def codes(visit: str) -> set[str]:
    return set(Finding.objects.filter(visit__uuid=visit, holds=True).values_list("code", flat=True))


def test_fleet_has_the_size_of_a_service_firm(demo: MadeDemo) -> None:
    assert Site.objects.count() == 90
    assert 220 <= Appliance.objects.count() <= 290
    assert Visit.objects.filter(local_on__gt=TODAY).count() == 0
    assert (TODAY - Visit.objects.earliest("local_on").local_on).days > 7 * 365


def test_truth_file_is_the_truth_of_the_seed(demo: MadeDemo) -> None:
    written = json.loads(demo.truth_file.read_text(encoding="utf-8"))
    assert written == json.loads(demo.truth.as_json())
    assert written["analyser_off"]["bias_co2_pct"] == 0.45


def test_high_co_was_made_safe_and_the_appliance_left_off(demo: MadeDemo) -> None:
    planted = demo.truth.co_make_safe
    visit = Visit.objects.get(uuid=planted.visit)
    assert (visit.appliance.tag, visit.outcome) == (planted.appliance, Outcome.LEFT_OFF)
    assert visit.appliance.safety_state == "left_off"
    event = visit.appliance.safety_events.get()
    assert (event.state, event.visit_uuid, event.at) == ("left_off", visit.uuid, visit.closed_at)
    assert event.told
    assert "co_make_safe" in codes(planted.visit)
    assert not visit.adjustments.exists()


def test_lag_boiler_was_left_enabled(demo: MadeDemo) -> None:
    planted = demo.truth.lag_left_enabled
    change = TemporaryChange.objects.get(put_back_at__isnull=True, visit__closed_at__isnull=False)
    assert str(change.visit.uuid) == planted.visit
    assert change.visit.appliance.plant.sequencing == "lead_lag"
    assert "not_put_back" in codes(planted.visit)
    assert TemporaryChange.objects.filter(put_back_at__isnull=False).exists()


def test_follow_ups_wait_for_no_access_part_and_heat_load(demo: MadeDemo) -> None:
    truth = demo.truth
    for outcome, planted in (
        (Outcome.NO_ACCESS, truth.no_access),
        (Outcome.PART_NEEDED, truth.part_needed),
        (Outcome.NO_HEAT_LOAD, (truth.no_heat_load,)),
    ):
        for each in planted:
            visit = Visit.objects.get(uuid=each.visit)
            assert visit.outcome == outcome
            assert not visit.appliance.visits.filter(local_on__gt=visit.local_on).exists()
    assert not FiringTest.objects.filter(visit__uuid__in=[each.visit for each in truth.no_access]).exists()


def test_trainee_visit_waits_for_a_countersignature(demo: MadeDemo) -> None:
    visit = Visit.objects.get(uncountersigned=True)
    assert str(visit.uuid) == demo.truth.uncountersigned.visit
    assert "licence_unknown" in codes(demo.truth.uncountersigned.visit)


def test_two_burner_casing_is_read_burner_by_burner(demo: MadeDemo) -> None:
    appliance = Appliance.objects.get(tag=demo.truth.two_burner)
    assert appliance.burners.count() == 2
    for visit in appliance.visits.filter(outcome=Outcome.COMPLETED):
        read = FiringTest.objects.filter(visit=visit, phase="as_found")
        assert {(test.burner.position, test.point) for test in read} == {
            (1, "high"),
            (1, "low"),
            (2, "high"),
            (2, "low"),
        }


def test_appliances_without_premix_are_there_and_never_adjusted(demo: MadeDemo) -> None:
    others = Appliance.objects.exclude(model__ratio_control="pneumatic_premix")
    assert {a.tag for a in others} == set(demo.truth.not_premix)
    assert set(others.values_list("model__ratio_control", flat=True)) == {
        "atmospheric",
        "forced_draught",
        "fixed",
    }
    assert not Visit.objects.filter(appliance__in=others, adjustments__isnull=False).exists()


def test_overdue_appliances_are_past_their_due_day(demo: MadeDemo) -> None:
    assert len(demo.truth.overdue) >= 5
    due = Appliance.objects.filter(tag__in=demo.truth.overdue).values_list("next_due_on", flat=True)
    assert len(due) == len(demo.truth.overdue)
    assert all(day < TODAY for day in due)


def test_demo_technician_is_booked_today_and_tomorrow(demo: MadeDemo) -> None:
    for days, tags in ((0, demo.truth.booked_today), (1, demo.truth.booked_tomorrow)):
        booked = Attendance.objects.filter(
            technician__username=TECHNICIAN_LOGIN,
            local_on=TODAY + timedelta(days=days),
            arrived_at__isnull=True,
        )
        assert {a.tag for each in booked for a in each.plant.appliances.all()} == set(tags)
        assert list(booked.values_list("position", flat=True)) == list(range(len(booked)))


def test_a_licence_and_a_calibration_end_soon(demo: MadeDemo) -> None:
    licence = Licence.objects.get(technician__user__username=demo.truth.licence_ending)
    assert licence.ends_on == demo.truth.licence_ends_on == TODAY + timedelta(days=18)
    analyser = Analyser.objects.get(tag=demo.truth.calibration_ending)
    assert analyser.periods.latest("starts_on").calibration_due_on == TODAY + timedelta(days=11)


def test_analyser_that_is_off_was_used_in_its_period(demo: MadeDemo) -> None:
    off = demo.truth.analyser_off
    period = AnalyserPeriod.objects.get(analyser__tag=off.analyser, starts_on=off.starts_on)
    days = Visit.objects.filter(analyser_period=period).values_list("local_on", flat=True)
    assert len(days) >= 20
    assert off.ends_on is not None
    assert all(off.starts_on <= day < off.ends_on for day in days)


def test_contracts_follow_both_rules_and_some_avoid_months(demo: MadeDemo) -> None:
    assert set(Contract.objects.values_list("rule", flat=True)) == {"fixed_anniversary", "from_last_done"}
    avoiding = [contract for contract in Contract.objects.all() if contract.avoid_months]
    assert avoiding
    for contract in avoiding:
        months = Visit.objects.filter(
            appliance__plant__contracts=contract, outcome=Outcome.COMPLETED, kind="annual_service"
        ).values_list("local_on__month", flat=True)
        kept = [month not in contract.avoid_months for month in months]
        assert sum(kept) >= 0.95 * len(kept)


def test_every_tank_is_a_gas_area_of_its_own(demo: MadeDemo) -> None:
    tanks = GasArea.objects.filter(supply="tank")
    assert tanks.count() >= 3
    for tank in tanks:
        assert tank.sites.count() == 1
        fuels = Appliance.objects.filter(plant__site__gas_area=tank).values_list("fuel", flat=True)
        assert set(fuels) <= {"propane"}
    assert not Appliance.objects.filter(plant__site__gas_area__supply="network", fuel="propane").exists()


def test_every_test_has_a_firing_spec_with_an_invented_source(demo: MadeDemo) -> None:
    specs = set(FiringSpec.objects.values_list("model_id", "fuel", "point"))
    read = set(FiringTest.objects.values_list("visit__appliance__model_id", "fuel", "point"))
    assert read <= specs
    assert FiringSpec.objects.filter(below_high_fire_low_pct__isnull=False, point="low").exists()
    assert all("invented" in source for source in FiringSpec.objects.values_list("source", flat=True))
    trims = ModelTrim.objects.filter(model__ratio_control="pneumatic_premix")
    assert all(trim.location and trim.lowers_co2 for trim in trims)
    assert all(bool(trim.tool) != (trim.mover == "sealed") for trim in trims)
    assert set(trims.values_list("mover", flat=True)) == {"field", "maker_trained", "sealed"}


def test_contacts_are_linked_to_some_sites_of_their_customer(demo: MadeDemo) -> None:
    contact = User.objects.get(username=CONTACT_LOGIN)
    sites = Site.objects.visible_to(contact)
    assert sites.count() == 3
    assert sites.values("customer").distinct().count() == 1


def test_four_logins_and_a_token_are_printed_and_work(demo: MadeDemo) -> None:
    for _, login in LOGINS:
        assert login in demo.said
        assert User.objects.get(username=login).check_password("demo-password-1")
    assert "certificate" not in demo.said.lower()
    assert User.objects.get(username=TECHNICIAN_LOGIN).device_tokens.count() == 1


def test_only_the_planted_things_stand_in_the_remedial_list_for_long(demo: MadeDemo) -> None:
    old = Finding.objects.open().filter(visit__local_on__lt=TODAY - timedelta(days=300))
    assert not old.exists()
    assert Finding.objects.open().exists()


def test_every_planted_wanderer_stands_on_the_ranked_list_with_its_trim_and_its_evidence(
    demo: MadeDemo, manager: Client
) -> None:
    answer = manager.get(reverse("web:wanderers"))
    shown = {(row.drift.appliance.tag, row.trim.trim) for row in answer.context["page"].rows}
    planted = {(trim.appliance, trim.trim) for trim in demo.truth.wanderers}
    assert len(planted & shown) >= len(planted) - 1
    drifting = {(trim.appliance, trim.trim) for trim in demo.truth.drifters}
    assert len(shown - planted - drifting) <= 2
    tag, _trim = sorted(planted & shown)[0]
    appliance = Appliance.objects.get(tag=tag)
    story = manager.get(reverse("web:appliance", args=[appliance.pk]))
    assert "trim: wanders (probability" in story.text
    names = {trace.get("name") for trace in story.context["charts"][0]["figure"]["data"]}
    assert {"expected from gas, season, analyser", "where it may stand if nobody attends"} <= names
    evidence = manager.get(reverse("web:evidence", args=[appliance.pk])).context["page"]
    read = {line.visit.pk for line in evidence.burners[0].lines}
    assert read == set(appliance.visits.filter(firingtests__isnull=False).values_list("pk", flat=True))
    assert any(abs(line.step.removed_gas) > 0.01 for line in evidence.burners[0].lines)


def test_the_analyser_that_was_off_stands_first_with_the_verdicts_it_would_change(
    demo: MadeDemo, manager: Client
) -> None:
    off = demo.truth.analyser_off
    first = manager.get(reverse("web:analysers"), {"show": "all"}).context["page"].rows[0]
    assert (first.bias.period.analyser.tag, first.bias.period.starts_on) == (off.analyser, off.starts_on)
    assert first.stands_out
    assert first.bias.bias_co2_pct == pytest.approx(off.bias_co2_pct, abs=0.1)
    page = manager.get(reverse("web:analyser-period", args=[first.bias.period_id])).context["page"]
    assert len(page.changed) >= 10
    for row in page.changed:
        limits = row.accept_low_co2_pct, row.accept_high_co2_pct
        as_read = limits[0] <= row.test.co2_pct <= limits[1]
        assert as_read != (limits[0] <= row.test.co2_pct - first.bias.bias_co2_pct <= limits[1])
    assert (
        sum(count for _, count in page.users)
        == Visit.objects.filter(analyser_period=first.bias.period, closed_at__isnull=False).count()
    )


def test_the_gas_change_shows_as_a_step_in_its_area_and_month(demo: MadeDemo, manager: Client) -> None:
    change = demo.truth.gas_change
    area = GasArea.objects.get(name=change.area)
    page = manager.get(reverse("web:gas"), {"area": area.pk}).context["page"]
    assert page.chosen == area
    assert abs((page.step.month - change.from_on).days) <= 62
    assert page.step.by_pct == pytest.approx(100 * change.shift_ln, abs=1.2)
    others = GasArea.objects.filter(supply="network").exclude(pk=area.pk)
    for other in others:
        quiet = manager.get(reverse("web:gas"), {"area": other.pk}).context["page"]
        assert abs(quiet.step.by_pct) < 0.6 * abs(page.step.by_pct)


def test_the_model_whose_part_ages_stands_first(demo: MadeDemo, manager: Client) -> None:
    page = manager.get(reverse("web:models"), {"trim": "throttle"}).context["page"]
    assert page.models[0].row.model.name == demo.truth.ageing_model
    assert page.models[0].one_way


def test_the_forgotten_lag_boiler_stands_on_the_offices_and_the_managers_page(
    demo: MadeDemo, manager: Client
) -> None:
    queue = manager.get(reverse("web:today")).context["queues"].not_put_back
    assert demo.truth.lag_left_enabled.visit in {str(row.visit.uuid) for row in queue.rows}
    by_code = {
        code: count for code, _, count in manager.get(reverse("web:condition")).context["page"].by_code
    }
    assert by_code["not_put_back"] >= 1


def test_the_newest_service_records_are_issued_and_stand(demo: MadeDemo) -> None:
    records = list(ServiceRecord.objects.select_related("attendance"))
    assert len(records) == load.RECORDS_ISSUED
    assert {record.revision for record in records} == {1}
    assert max(row.attendance.local_on for row in records) <= TODAY
    assert {record_check(record.code).standing for record in records} == {Standing.STANDS}


def test_a_visit_of_today_is_open_with_a_move_advised(demo: MadeDemo) -> None:
    visit = Visit.objects.get(closed_at__isnull=True)
    assert visit.local_on == TODAY
    assert visit.appliance.tag in demo.truth.booked_today
    (advice,) = visit_now(visit)["advice"]
    assert (advice["code"], advice["trim"], advice["co2"]) == ("move_trim", "throttle", "lower")
    assert advice["amount"] is not None
