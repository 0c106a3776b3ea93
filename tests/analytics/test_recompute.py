"""A recompute writes a whole run and then lets readers see it; one visit's refit stands inside it."""

import io
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from analytics import services
from analytics.claiming import DriftBusy, claim
from analytics.closeups import appliance_closeup
from analytics.models import ApplianceDrift, DriftDuty, DriftPointer, DriftRun, PeriodBias, TrimDrift
from analytics.services import appliances_refit, current_run, fleet_recompute, runs_forget
from analytics.tasks import recompute_what_is_owed, visit_told
from common.models import OutboxEvent
from fleet.models import Appliance
from tests.analytics.fleets import ORIGIN, file_rows, imported
from tests.history.files import write
from tests.simulator.fleet import simulate
from tests.simulator.options import Options
from visits.history.services import history_import

pytestmark = pytest.mark.django_db
NUMBERS = ["state", "drift_per_year", "drift_low", "drift_high", "wander_probability", "moved_per_year"]


def recompute():
    return fleet_recompute(kind=DriftRun.Kind.COMMAND, now=timezone.now())


def rows_of(run, appliance=None):
    rows = TrimDrift.objects.filter(run=run).order_by("burner", "trim")
    if appliance is not None:
        rows = rows.filter(appliance=appliance)
    return list(rows.values_list("burner", "trim", "visits", "unit", "flagged", "reason", *NUMBERS))


def test_the_command_writes_one_row_per_burner_and_trim_and_says_what_it_did(tmp_path, capsys):
    fleet = imported(tmp_path)
    call_command("recompute_drift")
    run = current_run()
    assert run is not None
    rows = TrimDrift.objects.filter(run=run)
    assert rows.count() == 2 * fleet.options.appliances == 2 * ApplianceDrift.objects.filter(run=run).count()
    assert set(rows.values_list("visits", flat=True)) == {fleet.options.visits}
    assert rows.filter(reason="", drift_low__lt=0, drift_high__gt=0).exists()
    assert f"Run {run.pk} is what readers see now" in capsys.readouterr().out


def test_a_dry_run_writes_nothing(tmp_path, capsys):
    imported(tmp_path)
    call_command("recompute_drift", "--dry-run")
    assert not DriftRun.objects.exists()
    assert not TrimDrift.objects.exists()
    assert "Nothing was written." in capsys.readouterr().out


def test_a_second_recompute_gives_the_same_answer_and_the_third_forgets_the_first(tmp_path):
    imported(tmp_path)
    runs = [recompute().run for _ in range(3)]
    assert rows_of(runs[1]) == rows_of(runs[2])
    assert not DriftRun.objects.filter(pk=runs[0].pk).exists()
    assert not TrimDrift.objects.filter(run_id=runs[0].pk).exists()


def test_readers_see_the_old_run_until_the_new_one_is_whole(tmp_path, monkeypatch):
    imported(tmp_path)
    old = recompute().run
    seen = []

    def watched(*args, **options):
        seen.append(set(TrimDrift.objects.current().values_list("run", flat=True)))
        return writes(*args, **options)

    writes = services.estimates_write
    monkeypatch.setattr(services, "estimates_write", watched)
    new = recompute().run
    assert seen == [{old.pk}]
    assert set(TrimDrift.objects.current().values_list("run", flat=True)) == {new.pk}


def test_a_recompute_that_breaks_leaves_the_old_run_and_lets_the_next_in(tmp_path, monkeypatch):
    imported(tmp_path)
    old = recompute().run

    def broken(*args, **options):
        raise RuntimeError("the disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(services, "estimates_write", broken)
        with pytest.raises(RuntimeError):
            recompute()
    assert current_run() == old
    assert recompute().run != old


def test_two_recomputes_at_once_do_no_harm(tmp_path):
    imported(tmp_path)
    now = timezone.now()
    held = claim(kind=DriftRun.Kind.NIGHTLY, now=now, as_of=now.date())
    with pytest.raises(CommandError, match="under way"):
        call_command("recompute_drift")
    assert DriftRun.objects.count() == 1
    held.flip()
    call_command("recompute_drift")


def test_a_run_that_died_is_taken_over_once_its_lease_is_over(tmp_path):
    imported(tmp_path)
    now = timezone.now()
    dead = claim(kind=DriftRun.Kind.NIGHTLY, now=now - timedelta(hours=2), as_of=now.date())
    done = recompute()
    assert current_run() == done.run
    with pytest.raises(DriftBusy):
        dead.flip()
    assert current_run() == done.run
    runs_forget()
    assert not DriftRun.objects.filter(pk=dead.run.pk).exists()


def test_refitting_an_appliance_gives_what_the_whole_run_gave(tmp_path):
    imported(tmp_path)
    run = recompute().run
    appliance = Appliance.objects.first()
    before, others = rows_of(run, appliance), rows_of(run)
    ahead = ApplianceDrift.objects.get(run=run, appliance=appliance).outside
    assert appliances_refit([appliance.pk]) == 1
    again = ApplianceDrift.objects.get(run=run, appliance=appliance).outside
    assert [day for day, _ in again] == [day for day, _ in ahead]
    assert [chance for _, chance in again] == pytest.approx([chance for _, chance in ahead], abs=2e-3)
    for old, new in zip(before, rows_of(run, appliance), strict=True):
        assert new[:6] == old[:6]
        assert [value is None for value in new[6:]] == [value is None for value in old[6:]]
        known = [pair for pair in zip(new[6:], old[6:], strict=True) if pair[1] is not None]
        assert all(mine == pytest.approx(theirs, rel=1e-3, abs=1e-3) for mine, theirs in known)
        assert known
    assert len(rows_of(run)) == len(others)


def test_a_closed_visit_before_any_run_asks_for_one(tmp_path):
    event = OutboxEvent.objects.create(kind="visit.closed", subject_id=1, payload={"appliance": 1})
    visit_told(event)
    assert DriftDuty.objects.get().period == "first"


def test_imports_and_the_night_are_owed_one_recompute_between_them(tmp_path):
    imported(tmp_path)
    for _ in range(2):
        visit_told(OutboxEvent.objects.create(kind="visits.imported", subject_id=0, payload={"visits": 1}))
    night = datetime(2026, 3, 2, 1, tzinfo=UTC)
    recompute_what_is_owed(night)
    assert DriftRun.objects.get().kind == DriftRun.Kind.IMPORT
    assert set(DriftDuty.objects.values_list("run", flat=True)) == {current_run().pk}
    assert recompute_what_is_owed(night + timedelta(hours=3)) == {}
    recompute_what_is_owed(night + timedelta(days=1))
    assert DriftRun.objects.count() == 2


def test_a_day_whose_fleet_was_reckoned_already_is_owed_no_night(tmp_path):
    imported(tmp_path)
    now = timezone.now()
    run = fleet_recompute(kind=DriftRun.Kind.COMMAND, now=now).run
    assert recompute_what_is_owed(now) == {}
    assert DriftDuty.objects.get().run == run
    assert "run" in recompute_what_is_owed(now + timedelta(days=1))
    DriftRun.objects.update(engine_version=0)
    assert "run" in recompute_what_is_owed(now + timedelta(days=2))


def test_a_busy_tick_leaves_the_recompute_owed(tmp_path):
    imported(tmp_path)
    now = timezone.now()
    held = claim(kind=DriftRun.Kind.COMMAND, now=now, as_of=now.date())
    assert recompute_what_is_owed(now) == {"busy": 1}
    held.release()
    assert "run" in recompute_what_is_owed(now)


def test_visits_closed_while_a_run_was_reading_are_refitted_after(tmp_path, monkeypatch):
    imported(tmp_path)
    appliance = Appliance.objects.first()
    OutboxEvent.objects.create(kind="visit.closed", subject_id=1, payload={"appliance": appliance.pk})
    assert recompute().refitted_appliances == 1


def test_the_pointer_is_one_row(tmp_path):
    imported(tmp_path)
    recompute()
    recompute()
    assert DriftPointer.objects.count() == 1


def test_an_empty_fleet_is_no_error():
    assert recompute().run.visits == 0


def test_a_run_of_an_earlier_engine_is_not_refitted_but_owed_again(tmp_path):
    imported(tmp_path)
    run = recompute().run
    buffer = io.BytesIO()
    np.savez(buffer, something=np.zeros(1))
    DriftRun.objects.filter(pk=run.pk).update(kept=buffer.getvalue())
    assert appliances_refit([Appliance.objects.first().pk]) == 0
    assert DriftDuty.objects.filter(finished_at=None).count() == 1
    # what it kept was read once; no page reads it again
    with CaptureQueriesContext(connection) as captured:
        assert appliance_closeup(Appliance.objects.first().pk, run) == []
    assert [one["sql"] for one in captured if "analytics_driftrun" in one["sql"]] == []


def test_a_visit_closed_after_a_run_is_fitted_as_the_next_run_would(tmp_path):
    fleet = imported(tmp_path)
    late = simulate(fleet.options.but(visits=6), seed=1)
    last = [row | {"visit": f"late {row['visit']}"} for row in file_rows(late)]
    recompute()
    before = TrimDrift.objects.current().get(appliance__tag="B7", trim="throttle")
    days = sorted({row["observed_at"][:10] for row in last if row["appliance"] == "B7"})
    history_import(
        path=write(
            tmp_path / "late.csv",
            [row for row in last if row["appliance"] == "B7" and row["observed_at"][:10] == days[-1]],
        )
    )
    appliance = Appliance.objects.get(tag="B7")
    visit_told(
        OutboxEvent.objects.create(kind="visit.closed", subject_id=1, payload={"appliance": appliance.pk})
    )
    refitted = TrimDrift.objects.current().get(appliance=appliance, trim="throttle")
    recompute()
    whole = TrimDrift.objects.current().get(appliance=appliance, trim="throttle")
    assert before.visits + 1 == refitted.visits == whole.visits
    assert refitted.drift_per_year != before.drift_per_year
    assert refitted.state == pytest.approx(whole.state, abs=2 * refitted.state_u)


def test_an_imported_fleet_gives_back_its_wanderers_and_its_bad_analyser(tmp_path):
    options = Options(
        appliances=240, visits=9, analysers=6, areas=3, models=2, wander_share=0.08, wander_ratio=(5.0, 6.0)
    )
    fleet = imported(tmp_path, options, seed=5)
    recompute()
    rows = TrimDrift.objects.current().filter(flagged=True).values_list("appliance__tag", flat=True)
    flagged = {int(tag[1:]) for tag in rows}
    wandering = set(np.flatnonzero(fleet.truth.wanders.any(axis=1)).tolist())
    assert len(flagged & wandering) >= 0.6 * len(wandering)
    # 4 % of some twenty flags are expected to be false; four would be a one in a hundred chance
    assert len(flagged - wandering) <= 3
    errors = []
    for row in PeriodBias.objects.current().select_related("period__analyser").filter(readings__gte=30):
        analyser = int(row.period.analyser.tag.removeprefix("P4-"))
        began = (row.period.starts_on - ORIGIN.date()).days
        of_analyser = np.flatnonzero(fleet.period_analyser == analyser)
        period = of_analyser[np.abs(fleet.period_start_day[of_analyser] - began).argmin()]
        errors.append(row.bias_co2_pct - fleet.truth.bias_co2_pct[period])
    errors = np.array(errors)
    # a constant common to every analyser cannot be told from the gas; what is left is small
    assert np.std(errors) < 0.08
