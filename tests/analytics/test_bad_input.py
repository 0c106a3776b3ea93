"""Records that say little or nonsense: no crash, no silent flag, and a reason where there is no estimate."""

import csv

import numpy as np
import pytest
from django.core.management import call_command

from analytics.models import ApplianceDrift, Reason, TrimDrift
from fleet.models import Burner, PartFitted
from tests.analytics.fleets import ORIGIN, SMALL, file_rows, imported
from tests.history.files import visit_of, write
from tests.simulator.fleet import simulate
from visits.history.services import history_import
from visits.models import FiringTest, Visit

pytestmark = pytest.mark.django_db


def recomputed(tmp_path, rows, name="more.csv"):
    """A sound fleet with further visits, imported and fitted; drift by (appliance, trim)."""
    if not Visit.objects.exists():
        imported(tmp_path)
    outcome = history_import(path=write(tmp_path / name, rows))
    assert not outcome.refused, outcome.faults
    call_command("recompute_drift")
    return {
        (row.appliance.tag, row.trim): row for row in TrimDrift.objects.current().select_related("appliance")
    }


def years_of(tag, values, **cells):
    """Yearly visits that read these CO2 values at high fire."""
    return [
        row
        | {"appliance": tag, "serial": f"S-{tag}", "customer": "Odd customer", "co2_pct": f"{value}"}
        | {"o2_pct": "", "adjusted_trim": "", "co2_source": "measured"}
        | cells
        for year, value in enumerate(values)
        for row in visit_of(f"{tag}-{year}", f"{2013 + year}-03-05")[:1]
    ]


def test_an_appliance_seen_once_has_no_estimate_but_a_reason(tmp_path):
    drift = recomputed(tmp_path, years_of("once", [9.0]))
    for trim in ("throttle", "offset"):
        assert drift["once", trim].reason == Reason.ONE_VISIT
        assert drift["once", trim].drift_per_year is None
    assert not ApplianceDrift.objects.current().get(appliance__tag="once").flagged


def test_identical_values_year_after_year_give_a_reason_and_no_flag(tmp_path):
    drift = recomputed(tmp_path, years_of("copied", [9.0] * 8))
    assert drift["copied", "throttle"].reason == Reason.IDENTICAL
    assert not drift["copied", "throttle"].flagged


def test_high_fire_alone_gives_the_throttle_and_a_reason_for_the_offset(tmp_path):
    drift = recomputed(tmp_path, years_of("high", [9.0, 9.1, 8.9, 9.05, 8.95]))
    assert drift["high", "throttle"].reason == ""
    assert drift["high", "offset"].reason == Reason.NO_LOW_FIRE


def test_absurd_blunders_are_survived(tmp_path):
    values = [9.0, 9.05, 0.4, 9.0, 8.95, 25.0, 9.1, 9.0]
    drift = recomputed(tmp_path, years_of("wild", values))
    row = drift["wild", "throttle"]
    assert row.reason or np.isfinite([row.drift_per_year, row.drift_low, row.drift_high]).all()
    # 25 % CO2 is more than the fuel can make: judged implausible and kept out
    assert FiringTest.objects.filter(visit__appliance__tag="wild").exclude(kept_out="").count() == 1


def test_the_same_history_imported_twice_under_other_names_changes_no_estimate(tmp_path):
    values = [9.0, 9.1, 8.9, 9.05, 8.95]
    before = recomputed(tmp_path, years_of("twice", values))["twice", "throttle"]
    again = [row | {"visit": f"again {row['visit']}"} for row in years_of("twice", values)]
    after = recomputed(tmp_path, again, "again.csv")["twice", "throttle"]
    assert after.visits == before.visits
    assert after.drift_per_year == pytest.approx(before.drift_per_year, abs=1e-3)


def test_a_part_fitted_between_visits_starts_a_new_state(tmp_path):
    values = [9.0, 9.02, 9.05, 8.1, 8.12, 8.09, 8.11]
    before = recomputed(tmp_path, years_of("parted", values))["parted", "throttle"]
    burner = Burner.objects.get(appliance__tag="parted")
    PartFitted.objects.create(burner=burner, part="gas valve", fitted_at=ORIGIN.replace(year=2015, month=9))
    call_command("recompute_drift")
    after = TrimDrift.objects.current().get(burner=burner, trim="throttle")
    assert (before.visits, after.visits) == (7, 4)
    assert abs(after.drift_per_year) < abs(before.drift_per_year)


def test_a_burner_of_another_kind_is_left_out_and_one_that_was_trimmed_is_not(tmp_path):
    fleet = simulate(SMALL.but(appliances=6), 3)
    rows = [
        row | {"turndown": "", "control_pressure_pa": "", "model": "", "maker": ""}
        for row in file_rows(fleet)
    ]
    never = {row["appliance"] for row in rows} - {row["appliance"] for row in rows if row["adjusted_trim"]}
    history_import(path=write(tmp_path / "bare.csv", rows))
    call_command("recompute_drift")
    seen = set(TrimDrift.objects.current().values_list("appliance__tag", flat=True))
    assert seen == {row["appliance"] for row in rows} - never
    call_command("export_drift", str(tmp_path / "drift.csv"))
    with (tmp_path / "drift.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["appliance"] for row in rows if row["reason"].startswith("not a premix")} == never
    # without a turndown low fire says nothing of the offset
    assert all(row["reason"] for row in rows if row["trim"] == "offset")
