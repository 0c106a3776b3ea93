"""The simulated fleet as a history file: whole for the import, with the truth beside it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.simulator.fleet import simulate
from tests.simulator.options import Options
from tests.simulator.write_csv import write_history, write_truth
from visits.history.services import history_import

FLEET = Options(appliances=40, visits=4, analysers=4, areas=2, lost_share=0.1, low_read_share=0.9)


@pytest.mark.django_db
def test_the_import_takes_a_simulated_fleet_without_a_bad_row(tmp_path: Path) -> None:
    fleet = simulate(FLEET, 3)
    rows = write_history(fleet, tmp_path / "fleet.csv")
    outcome = history_import(path=tmp_path / "fleet.csv", dry_run=True)
    assert outcome.fault_count == 0, outcome.faults
    assert outcome.note_count == 0, outcome.notes
    assert outcome.rows == rows
    assert outcome.visits == len(fleet.visits.day)


def test_the_truth_names_every_appliance_and_every_period_that_was_used(tmp_path: Path) -> None:
    fleet = simulate(FLEET.but(wander_share=0.5), 4)
    write_truth(fleet, tmp_path / "truth.json")
    truth = json.loads((tmp_path / "truth.json").read_text())
    wanderers = [row for row in truth["appliances"] if row["wanders"]]
    assert len(truth["appliances"]) == FLEET.appliances
    assert len(wanderers) == fleet.truth.wanders.any(axis=1).sum() > 0
    assert sum(row["readings"] for row in truth["periods"]) == fleet.truth.tests.sum()


def test_the_same_seed_writes_the_same_file(tmp_path: Path) -> None:
    for name in ("one.csv", "two.csv"):
        write_history(simulate(FLEET, 5), tmp_path / name)
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "two.csv").read_bytes()
