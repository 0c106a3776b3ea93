"""Judging again: what a bias, specs, limits or a gas change later, said on the visit, and undone likewise."""

from datetime import date, timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.utils import timezone

from fleet.models import AnalyserPeriod, FiringSpec, SafetyLimit
from fleet.services import gas_report
from people.models import Role
from tests.factories import FiringSpecFactory, UserFactory
from tests.visits.bodies import closed, codes, finding, firing, visit_body
from visits.judging.asking import judgement_ask
from visits.judging.basis import basis_watch
from visits.judging.duties import duties_work, engine_ask
from visits.judging.engine import ENGINE_VERSION
from visits.models import Finding, FindingLife, JudgedAgain, JudgeDuty, Life, TestResult, Visit

BIAS = JudgeDuty.Cause.BIAS


def apply(period, co2_pct=0.5, u=0.03, run=7):
    AnalyserPeriod.objects.filter(pk=period.pk).update(
        applied_bias_co2_pct=co2_pct, applied_bias_u_co2_pct=u, applied_bias_run=run
    )
    return judgement_ask(BIAS, period.pk)


def take_off(period):
    return apply(period, None, None, None)


@pytest.fixture
def banded(scene):
    """High fire 8.8 to 9.2 % CO2, accepted from 8.5 to 9.5; read as 9.9, from measured CO2 alone."""
    FiringSpec.objects.filter(model=scene.appliance.model).delete()
    FiringSpecFactory(model=scene.appliance.model)
    body = closed(visit_body(scene.appliance, scene.analyser))
    body["tests"] = [firing("h", "high", "as_found", 10, co2_pct=9.9, o2_pct=None)]
    body["tests"][0]["co2_source"] = "measured"
    assert scene.put(body).status_code == 201
    return scene


def everything(visit):
    found = Finding.objects.filter(visit=visit).order_by("pk")
    results = TestResult.objects.filter(test__visit=visit).order_by("pk")
    return [
        [
            (row.code, row.subject, row.value, row.limit, row.probability, row.life)
            for row in found
            if row.holds
        ],
        [(row.co2_pct, row.u_co2_pct, row.verdict, row.p_inside, row.bias_run) for row in results],
        list(Visit.objects.filter(pk=visit.pk).values("health_as_found", "health_as_left")),
    ]


def test_a_bias_turns_a_verdict_and_the_visit_says_which_run_and_what_changed(banded):
    before = banded.get()
    assert before["results"]["h"]["verdict"] == "outside"
    assert before["judged_again"] == []
    untouched = everything(banded.visit)
    outside = finding(before, "outside_acceptance")
    row = Finding.objects.get(visit=banded.visit, code="outside_acceptance")
    person = UserFactory(role=Role.OFFICE)
    Finding.objects.filter(pk=row.pk).update(life=Life.QUOTED, owner=person)
    apply(banded.period)
    assert duties_work() == {"judged": 1, "changed": 1}

    after = banded.get()
    result = after["results"]["h"]
    # 9.9 read less a bias of 0.5 at 9 % CO2: 9.4, inside 9.5 by 0.1; u of the bias instead of the class's
    assert result["co2_pct"]["value"] == pytest.approx(9.4, abs=1e-9)
    assert result["bias_run"] == 7
    assert result["verdict"] in ("inside", "probably_inside")
    assert "outside_acceptance" not in codes(after)
    row.refresh_from_db()
    assert (row.holds, row.life, row.owner) == (False, Life.QUOTED, person)
    assert not FindingLife.objects.filter(finding=row).exists()
    (told,) = after["judged_again"]
    assert (told["cause"], told["bias_run"], told["was_bias_run"]) == ("bias", 7, None)
    assert told["tests"] == [
        {"test": "h", "place": "high fire, as found", "from": "outside", "to": result["verdict"]}
    ]
    assert "outside_acceptance" in told["went"]
    assert "run 7 found that the analyser read 0.50 ± 0.06 % CO2 too high" in told["sentence"]
    assert "high fire, as found: from outside to" in told["sentence"]
    assert str(outside["title"]) in told["sentence"]

    take_off(banded.period)
    assert duties_work()["changed"] == 1
    again = banded.get()
    assert again["results"] == before["results"]
    assert again["health"] == before["health"]
    assert "run 7 no longer holds" in again["judged_again"][-1]["sentence"]
    Finding.objects.filter(pk=row.pk).update(life=Life.OPEN, owner=None)
    assert everything(banded.visit) == untouched


def test_judging_again_keeps_that_the_devices_clock_ran_ahead(scene):
    ahead = (timezone.now() + timedelta(days=400)).isoformat()
    body = visit_body(scene.appliance, scene.analyser, opened_at=ahead)
    body["tests"][0]["readings"][0]["at"] = ahead
    assert "clock_apart" in codes(scene.put(closed(body, closed_at=ahead)).json())
    assert "clock_apart" in codes(scene.get())
    apply(scene.period)
    duties_work()
    assert "clock_apart" in codes(scene.get())


def test_judging_again_twice_says_it_once_and_changes_nothing_more(banded):
    apply(banded.period)
    duties_work()
    state, told = everything(banded.visit), JudgedAgain.objects.count()
    judgement_ask(BIAS, banded.period.pk)
    assert duties_work() == {"judged": 1, "changed": 0}
    assert duties_work() == {}
    assert everything(banded.visit) == state
    assert JudgedAgain.objects.count() == told == 1


def test_an_open_visit_is_judged_but_told_by_its_next_save(scene):
    scene.put(visit_body(scene.appliance, scene.analyser))
    apply(scene.period)
    duties_work()
    assert {row["bias_run"] for row in scene.get()["results"].values()} == {7}
    assert not JudgedAgain.objects.exists()


def test_the_work_goes_newest_first_in_bounded_steps_and_goes_on_where_it_stopped(scene, monkeypatch):
    monkeypatch.setattr("visits.judging.duties.VISITS_A_TRANSACTION", 2)
    for number in range(5):
        name = f"00000000-0000-7000-8000-{number:012}"
        day = f"2026-03-0{number + 1}T09:00:00+00:00"
        scene.put(visit_body(scene.appliance, scene.analyser, opened_at=day), uuid=name)
    newest_first = list(Visit.objects.order_by("-opened_at").values_list("pk", flat=True))

    def with_bias():
        return set(TestResult.objects.filter(bias_run=7).values_list("test__visit", flat=True))

    duty = apply(scene.period)
    for most, done in ((1, 1), (2, 3), (9, 5)):
        duties_work(most=most)
        assert with_bias() == set(newest_first[:done])
    duty.refresh_from_db()
    assert duty.finished_at is not None
    assert duty.visits == 5
    # a tick whose time is up does one transaction, and leaves the rest to the next
    judgement_ask(BIAS, scene.period.pk)
    assert duties_work(seconds=0.0)["judged"] == 2
    # asked again while under way, it begins from the newest
    judgement_ask(BIAS, scene.period.pk)
    duties_work(most=2)
    duty.refresh_from_db()
    assert (duty.visits, duty.finished_at, duty.at_visit) == (2, None, newest_first[1])
    judgement_ask(BIAS, scene.period.pk)
    duty.refresh_from_db()
    assert (duty.visits, duty.at_visit, duty.asked) == (0, None, 4)


def test_visits_of_an_earlier_engine_get_results_of_this_one(banded):
    TestResult.objects.update(engine_version=ENGINE_VERSION - 1, verdict="inside")
    assert banded.get()["results"] == {}
    for _ in range(2):
        engine_ask()
    assert duties_work() == {"judged": 1, "changed": 1}
    assert banded.get()["results"]["h"]["verdict"] == "outside"
    assert "the way of judging changed" in banded.get()["judged_again"][0]["sentence"]
    assert TestResult.objects.filter(engine_version=ENGINE_VERSION - 1).exists()
    engine_ask()
    assert duties_work() == {}


def test_specs_limits_and_gas_that_change_ask_for_their_own_visits_from_their_day(banded):
    basis_watch()
    duties_work()
    assert not JudgeDuty.objects.exists()
    FiringSpec.objects.update(target_high_co2_pct=9.8)
    office = UserFactory(role=Role.OFFICE)
    site = banded.appliance.plant.site
    gas_report(
        by=office, site=site, fuel="natural_gas", composition={"methane": 1.0}, from_on=date(2026, 3, 1),
        source="the supplier's report",
    )  # fmt: skip
    basis_watch()
    asked = {(row.cause, row.subject, row.from_on) for row in JudgeDuty.objects.all()}
    assert asked == {
        ("specs", str(banded.appliance.model_id), None),
        ("gas", f"site:{site.pk}", date(2026, 3, 1)),
    }
    assert duties_work()["judged"] == 2
    assert "specs changed" in banded.get()["judged_again"][0]["sentence"]
    basis_watch()
    assert not JudgeDuty.objects.filter(finished_at__isnull=True).exists()


def test_a_limit_is_asked_from_its_day_on_and_a_removed_one_too(banded):
    basis_watch()
    limit = SafetyLimit.objects.create(
        quantity="co_ppm",
        level="investigate",
        value=5,
        customer=banded.appliance.plant.site.customer,
        source="invented for tests",
        mark="own",
        in_force_on=date(2026, 3, 2),
    )
    basis_watch()
    (duty,) = JudgeDuty.objects.all()
    assert (duty.cause, duty.subject, duty.from_on) == ("limits", f":{limit.customer_id}", date(2026, 3, 2))
    duties_work()
    assert "co_investigate" in codes(banded.get())
    limit.delete()
    basis_watch()
    duties_work()
    assert "co_investigate" not in codes(banded.get())


def test_what_a_later_visit_would_have_ended_is_ended(banded):
    later = closed(visit_body(banded.appliance, banded.analyser))
    later |= {"opened_at": "2026-04-02T09:00:00+00:00", "closed_at": "2026-04-02T10:00:00+00:00", "tests": []}
    banded.put(later, uuid="00000000-0000-7000-8000-000000000009")
    apply(banded.period)
    duties_work()
    apply(banded.period, co2_pct=1.6, run=8)
    duties_work()
    came = Finding.objects.get(visit=banded.visit, code="outside_acceptance", holds=True)
    assert came.life == Life.DONE
    assert came.done_on_visit.local_on == date(2026, 4, 2)


def test_the_command_works_off_what_is_owed_and_what_is_named(banded):
    apply(banded.period)
    out = StringIO()
    call_command("judge_again", "--all", "--since", "2026-03-03", "--ask-only", stdout=out)
    assert "2 duties wait" in out.getvalue()
    call_command("judge_again", stdout=out)
    assert "2 duties: 1 visits judged again, 1 came out differently." in out.getvalue()
    call_command("judge_again", "--all", "--model", str(banded.appliance.model_id), stdout=out)
    assert "2 duties: 2 visits judged again, 0 came out differently." in out.getvalue()


def test_the_visits_page_says_it(banded, client):
    apply(banded.period)
    duties_work()
    client.force_login(UserFactory(role=Role.MANAGER))
    page = client.get(f"/visits/{banded.uuid}/").content.decode()
    assert "Judged again" in page
    assert "run 7 found that the analyser read 0.50" in page
    assert JudgedAgain.objects.get().at <= timezone.now()
