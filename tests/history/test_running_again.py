"""An interrupted import is completed by running it again, and a second one changes nothing."""

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError

from common.models import OutboxEvent
from tests.history.conftest import Importer
from tests.history.files import invented_fleet, row, visit_of, write
from visits.history.cells import visit_uuid
from visits.history.loader import Judge
from visits.judging.case import Case
from visits.judging.engine import judge_plainly
from visits.models import FiringTest, TestResult, Visit

pytestmark = pytest.mark.django_db


class Interrupted(Exception):
    pass


def _counts() -> dict[str, int]:
    return {
        model._meta.label: model._default_manager.count()
        for app in ("common", "people", "fleet", "visits")
        for model in apps.get_app_config(app).get_models()
    }


def _interrupting(at_chunk: int) -> Judge:
    chunks = 0

    def judge(cases: Sequence[Case]) -> Any:
        nonlocal chunks
        chunks += 1
        if chunks == at_chunk:
            raise Interrupted
        return judge_plainly(cases)

    return judge


def test_importing_twice_changes_nothing(bring_in: Importer) -> None:
    rows = list(invented_fleet(30, 10))
    first = bring_in(rows, chunk_visits=7)
    counts = _counts()
    ids = set(Visit.objects.values_list("pk", flat=True))
    again = bring_in(rows, chunk_visits=11)
    assert (first.visits_stored, first.visits_already) == (30, 0)
    assert (again.visits_stored, again.visits_already) == (0, 30)
    assert _counts() == counts
    assert set(Visit.objects.values_list("pk", flat=True)) == ids


@pytest.mark.parametrize("at_chunk", [1, 2, 4])
def test_an_interrupted_import_is_completed_by_running_it_again(bring_in: Importer, at_chunk: int) -> None:
    rows = list(invented_fleet(20, 10))
    with pytest.raises(Interrupted):
        bring_in(rows, chunk_visits=5, judge=_interrupting(at_chunk))
    stored = Visit.objects.count()
    assert stored == 5 * (at_chunk - 1), "whole chunks or nothing of them"
    assert FiringTest.objects.count() == 4 * stored
    assert not OutboxEvent.objects.exists()
    outcome = bring_in(rows, chunk_visits=5)
    assert (outcome.visits_stored, outcome.visits_already) == (20 - stored, stored)
    assert Visit.objects.count() == 20
    assert FiringTest.objects.count() == 80
    assert OutboxEvent.objects.get().payload == {"visits": 20 - stored}


def test_what_the_database_refuses_undoes_its_chunk_and_stops_the_import(bring_in: Importer) -> None:
    """The constraints guard what is written beside the judging as they guard everything."""

    def judge(cases: Sequence[Case]) -> Any:
        judgements, results = judge_plainly(cases)
        if any(case.visit.uuid == visit_uuid("V12") for case in cases):
            results = [(*values[:-2], float("inf"), values[-1]) for values in results]
        return judgements, results

    rows = list(invented_fleet(20, 10))
    with pytest.raises(IntegrityError, match="finite"):
        bring_in(rows, chunk_visits=5, judge=judge)
    assert (Visit.objects.count(), FiringTest.objects.count(), TestResult.objects.count()) == (10, 40, 40)
    assert bring_in(rows).visits_stored == 10


def test_an_interrupted_import_leaves_no_half_written_file_beside(bring_in: Importer, tmp_path: Path) -> None:
    rows = [row(visit="bad", co2_pct="x"), *invented_fleet(20, 10)]
    with pytest.raises(Interrupted):
        bring_in(rows, chunk_visits=5, judge=_interrupting(2), skip_bad=True)
    assert [path.name for path in tmp_path.iterdir()] == ["history.csv"]


def test_a_grown_file_adds_only_what_is_new(bring_in: Importer) -> None:
    bring_in(visit_of("job 1"))
    outcome = bring_in([*visit_of("job 1"), *visit_of("job 2", "2025-03-04")])
    assert (outcome.visits_stored, outcome.visits_already) == (1, 1)


def test_a_visit_on_file_stays_as_it_is(bring_in: Importer) -> None:
    bring_in(visit_of("job 1"))
    outcome = bring_in(visit_of("job 1", kind="recheck", technician="Someone Else"))
    assert outcome.visits_already == 1
    visit = Visit.objects.get()
    assert (visit.kind, visit.technician.get_full_name()) == ("annual_service", "Ada Fenwick")


def test_skip_bad_leaves_whole_visits_out_and_writes_their_rows_beside(
    bring_in: Importer, tmp_path: Path
) -> None:
    good, bad, last = visit_of("job 1"), visit_of("job 2", appliance="B2"), visit_of("job 3", appliance="B3")
    bad[1]["co2_pct"] = "much"
    torn = row(visit="", appliance="B4")
    outcome = bring_in([*good, *bad, torn, *last], skip_bad=True)
    assert not outcome.refused
    assert (outcome.bad_rows, outcome.visits_left_out, outcome.visits_stored) == (2, 1, 2)
    assert set(Visit.objects.values_list("uuid", flat=True)) == {visit_uuid("job 1"), visit_uuid("job 3")}
    assert outcome.bad_path == tmp_path / "history.bad.csv"
    with outcome.bad_path.open(encoding="utf-8", newline="") as file:
        left_out = list(csv.DictReader(file))
    assert [{name: cells[name] for name in row()} for cells in left_out] == [*bad, torn]
    assert [cells["reason"] for cells in left_out] == [
        "left out with row 7 of the same visit",
        "co2_pct: not a finite decimal number, such as 8.9 (a point, not a comma; no unit)",
        "left out with row 7 of the same visit",
        "left out with row 7 of the same visit",
        "visit: is empty",
    ]


def test_skip_bad_leaves_out_both_parts_of_a_visit_whose_rows_stand_apart(bring_in: Importer) -> None:
    first, second = visit_of("job 1"), visit_of("job 2", appliance="B2")
    outcome = bring_in([*first[:2], *second, *first[2:]], skip_bad=True)
    assert (outcome.visits_stored, outcome.visits_left_out) == (1, 1)
    assert Visit.objects.get().uuid == visit_uuid("job 2")
    assert outcome.bad_path is not None
    assert len(outcome.bad_path.read_text(encoding="utf-8").splitlines()) == 5


def test_the_file_of_bad_rows_once_mended_is_imported_as_it_is(bring_in: Importer, tmp_path: Path) -> None:
    bad = visit_of("job 2")
    bad[1]["co2_pct"] = "8,9"
    outcome = bring_in([*visit_of("job 1"), *bad], skip_bad=True)
    assert outcome.bad_path is not None
    mended = tmp_path / "mended.csv"
    text = outcome.bad_path.read_text(encoding="utf-8")
    mended.write_text(text.replace('"8,9"', "8.9"), encoding="utf-8")
    outcome = bring_in(mended)
    assert (outcome.bad_rows, outcome.visits_stored) == (0, 1)
    assert Visit.objects.count() == 2


def test_skip_bad_of_a_file_with_nothing_good_stores_nothing(bring_in: Importer) -> None:
    outcome = bring_in([row(co2_pct="x")], skip_bad=True)
    assert (outcome.visits_stored, outcome.visits_left_out) == (0, 1)
    assert not OutboxEvent.objects.exists()


def test_a_dry_run_of_skip_bad_writes_nothing(bring_in: Importer, tmp_path: Path) -> None:
    path = write(tmp_path / "history.csv", [*visit_of("job 1"), row(visit="bad", co2_pct="x")])
    outcome = bring_in(path, skip_bad=True, dry_run=True)
    assert (outcome.visits, outcome.visits_left_out, outcome.visits_stored) == (2, 1, 0)
    assert not Visit.objects.exists()
    assert [entry.name for entry in tmp_path.iterdir()] == ["history.csv"]
