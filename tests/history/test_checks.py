"""The first pass: bad cells by row, column, value and reason; rows that do not agree; nothing written."""

import csv
from pathlib import Path

import pytest

from common.models import AuditLine, OutboxEvent
from fleet.models import Customer
from tests.history.conftest import Importer
from tests.history.files import row, visit_of, write
from visits.history.checks import VISIT_ROWS_LIMIT
from visits.history.report import ImportOutcome
from visits.models import Visit


def _faults(outcome: ImportOutcome) -> list[tuple[int, str, str]]:
    return [(fault.row, fault.column, fault.value) for fault in outcome.faults]


@pytest.mark.parametrize(
    ("column", "value", "reason"),
    [
        ("fuel", "coal", "not one of natural_gas, methane, propane"),
        ("kind", "annual", "not one of commissioning, annual_service, recheck, breakdown"),
        ("phase", "working", "not one of as_found, as_left"),
        ("firing_point", "medium", "not one of high, low"),
        ("adjusted_trim", "valve", "not one of throttle, offset, both"),
        ("co2_source", "guessed", "not one of measured, derived"),
        ("moved_before", "maybe", "not yes or no"),
        ("timezone", "Mars/Olympus", "not a name of the IANA time zone database"),
        ("calibrated_on", "15.01.2024", "not a date"),
        ("co2_pct", "NaN", "not a finite decimal number"),
        ("o2_pct", "inf", "not a finite decimal number"),
        ("co_ppm", "1000000", "under 1e6"),
        ("flue_temp_c", "warm", "not a finite decimal number"),
        ("turns", "a quarter", "not a finite decimal number"),
        ("input_kw", "0", "not between 0.1 and 100000"),
        ("turndown", "0.5", "not between 1 and 50"),
        ("control_pressure_pa", "-3", "not between 1 and 20000"),
        ("elevation_m", "9000", "not between -450 and 5500"),
        ("sequence", "first", "not a whole number"),
        ("burner", "0", "not from 1 to 99"),
        ("burner", "100", "not from 1 to 99"),
        ("customer", "", "is empty"),
        ("appliance", "   ", "is empty"),
        ("visit", "", "is empty"),
        ("observed_at", "", "is empty"),
        ("fuel", "", "is empty"),
        ("serial", "x" * 81, "longer than 80 characters"),
        ("observed_at", "2024-03-05T09:10:00", "without a zone"),
    ],
)
def test_a_cell_that_cannot_be_stored_is_named(check: Importer, column: str, value: str, reason: str) -> None:
    outcome = check([row(visit="job 1"), row(**{"visit": "job 2", column: value})])
    assert _faults(outcome) == [(3, column, value.strip())]
    assert reason in outcome.faults[0].reason
    assert outcome.refused


def test_every_fault_of_a_row_is_reported(check: Importer) -> None:
    outcome = check([row(co2_pct="x", kind="y", timezone="z", observed_at="2024-03-05T09:10:00")])
    assert {column for _, column, _ in _faults(outcome)} == {"co2_pct", "kind", "timezone"}
    assert (outcome.bad_rows, outcome.fault_count) == (1, 3)


def test_bad_news_is_no_bad_row(check: Importer) -> None:
    implausible = {"o2_pct": 25, "co2_pct": 19, "co_ppm": 90_000, "flue_temp_c": -60, "air_temp_c": 400}
    unknown = dict.fromkeys(
        [
            *("serial", "maker", "model", "input_kw", "turndown", "control_pressure_pa", "gas_area"),
            *("technician", "analyser", "calibrated_on"),
            *("co2_pct", "o2_pct", "co_ppm", "flue_temp_c", "air_temp_c"),
        ],
        "",
    )
    future = row(visit="job 3", observed_at="2031-01-01T00:00:00Z")
    outcome = check([row(visit="job 1", **implausible), row(visit="job 2", **unknown), future])
    assert outcome.bad_rows == 0


def test_cells_are_read_without_the_spaces_around_them(check: Importer) -> None:
    padded = {name: f"  {value} " if value else " " for name, value in row().items()}
    assert check([padded, row()]).faults == []


@pytest.mark.parametrize(
    ("column", "other"),
    [
        ("customer", "Another"), ("site", "Another"), ("plant", "Another"), ("appliance", "B2"),
        ("kind", "recheck"), ("technician", "Another"), ("analyser", "P4-02"),
        ("calibrated_on", "2023-01-01"),
    ],
)  # fmt: skip
def test_the_rows_of_a_visit_share_what_is_the_visits(check: Importer, column: str, other: str) -> None:
    rows = visit_of("job 1")
    rows[2][column] = other
    outcome = check(rows)
    assert _faults(outcome) == [(4, column, other)]
    assert "as in row 2 of the same visit" in outcome.faults[0].reason


def test_the_rows_of_a_visit_follow_each_other(check: Importer) -> None:
    first, second = visit_of("job 1"), visit_of("job 2", appliance="B2")
    outcome = check([*first[:2], *second, *first[2:]])
    assert _faults(outcome) == [(8, "visit", "job 1")]
    assert "began in row 2" in outcome.faults[0].reason
    assert outcome.visits_left_out == 1


def test_a_visit_with_more_rows_than_anyone_reads_is_bad(check: Importer) -> None:
    outcome = check([row()] * (VISIT_ROWS_LIMIT + 3))
    assert _faults(outcome)[0][:2] == (VISIT_ROWS_LIMIT + 2, "visit")
    assert outcome.fault_count == 1


@pytest.mark.parametrize(("column", "other"), [("maker", "Ostrell"), ("model", "CX200")])
def test_an_appliance_has_one_maker_and_model_in_a_file(check: Importer, column: str, other: str) -> None:
    outcome = check([*visit_of("job 1"), *visit_of("job 2", "2025-03-04", **{column: other})])
    assert _faults(outcome)[0] == (6, column, other)
    assert "as the file gave for this appliance before" in outcome.faults[0].reason


@pytest.mark.parametrize(
    ("column", "other"),
    [("serial", "CX-OOO1"), ("input_kw", "99"), ("turndown", "4"), ("gas_area", "Aldermere south")],
)
def test_other_facts_that_differ_are_noted_and_the_first_is_kept(
    check: Importer, column: str, other: str
) -> None:
    outcome = check([*visit_of("job 1"), *visit_of("job 2", "2025-03-04", **{column: other})])
    assert outcome.bad_rows == 0
    assert [(note.row, note.column) for note in outcome.notes] == [(6, column)]


@pytest.mark.parametrize(
    ("day", "reason"), [("2090-03-05", "ahead of today"), ("1970-01-01", "before calibrated_on")]
)
def test_a_date_that_cannot_be_is_noted_once_a_visit_and_stored(
    check: Importer, day: str, reason: str
) -> None:
    outcome = check([*visit_of("job 1"), *visit_of("job 2", day)])
    assert outcome.bad_rows == 0
    assert [(note.row, note.column, note.value) for note in outcome.notes] == [(6, "observed_at", day)]
    assert reason in outcome.notes[0].reason


def test_a_fact_left_empty_contradicts_nothing(check: Importer) -> None:
    empty = dict.fromkeys(("serial", "maker", "model", "input_kw", "turndown", "gas_area"), "")
    outcome = check([*visit_of("job 1", **empty), *visit_of("job 2"), *visit_of("job 3", **empty)])
    assert (outcome.faults, outcome.notes) == ([], [])


def test_only_as_left_rows_name_the_trim_that_moved(check: Importer) -> None:
    outcome = check([row(adjusted_trim="throttle")])
    assert _faults(outcome) == [(2, "adjusted_trim", "throttle")]


def test_turns_that_cannot_be_given_to_one_trim_are_noted(check: Importer) -> None:
    left = {"visit": "job 1", "phase": "as_left"}
    outcome = check(
        [
            row(**left, adjusted_trim="both", turns="0.5"),
            row(**left, adjusted_trim="throttle", turns="0.25"),
            row(**left, adjusted_trim="throttle", turns="0.75"),
        ]
    )
    assert [(note.row, note.column, note.value) for note in outcome.notes] == [
        (2, "turns", "0.5"),
        (4, "turns", "0.75"),
    ]


def test_an_appliance_has_at_most_99_burners(check: Importer) -> None:
    outcome = check([row(burner=f"burner {n}") for n in range(100)])
    assert _faults(outcome) == [(101, "burner", "burner 99")]


@pytest.mark.django_db
@pytest.mark.parametrize("dry_run", [True, False])
def test_nothing_is_stored_when_a_row_is_bad(bring_in: Importer, tmp_path: Path, dry_run: bool) -> None:
    outcome = bring_in([*visit_of("job 1"), row(visit="job 2", co2_pct="?")], dry_run=dry_run)
    assert outcome.refused
    assert not Customer.objects.exists()
    assert not Visit.objects.exists()
    assert not OutboxEvent.objects.exists()
    assert not AuditLine.objects.exists()
    assert [path.name for path in tmp_path.iterdir()] == ["history.csv"]


@pytest.mark.django_db
def test_a_dry_run_of_a_good_file_writes_nothing(check: Importer, tmp_path: Path) -> None:
    rows = [row(visit=f"job {n}", appliance=f"B{n}", serial="") for n in range(60)]
    assert check(rows).visits == 60
    assert not Visit.objects.exists()
    assert [path.name for path in tmp_path.iterdir()] == ["history.csv"]


def test_many_faults_are_all_listed_in_a_file_beside(bring_in: Importer, tmp_path: Path) -> None:
    rows = [row(visit=f"job {n}", co2_pct="=cmd()" if n else "x") for n in range(50)]
    outcome = bring_in(rows)
    assert len(outcome.faults) == 20
    assert outcome.report_path == tmp_path / "history.report.csv"
    with outcome.report_path.open(encoding="utf-8", newline="") as file:
        listed = list(csv.reader(file))
    assert listed[0] == ["kind", "row", "column", "value", "reason"]
    assert [int(line[1]) for line in listed[1:]] == list(range(2, 52))
    assert listed[2][3] == "'=cmd()", "text that a spreadsheet would run is made inert"


def test_a_long_value_is_shown_short(check: Importer) -> None:
    outcome = check([row(fuel="x" * 5000)])
    assert len(str(outcome.faults[0])) < 400


def test_a_dry_run_of_many_faults_writes_no_file(check: Importer, tmp_path: Path) -> None:
    outcome = check([row(visit=f"job {n}", co2_pct="x") for n in range(50)])
    assert (outcome.fault_count, outcome.report_path) == (50, None)
    assert [path.name for path in tmp_path.iterdir()] == ["history.csv"]


def test_local_times_take_the_rows_zone_then_the_commands(check: Importer, tmp_path: Path) -> None:
    local = {"observed_at": "2024-03-05T09:10:00"}
    path = write(tmp_path / "h.csv", [row(visit="job 1", timezone="Europe/Oslo", **local), row(**local)])
    assert [fault.row for fault in check(path).faults] == [3]
    assert check(path, default_zone="Europe/London").bad_rows == 0


def test_a_gas_conversion_is_noted_and_the_appliance_burns_what_it_burned_last(check: Importer) -> None:
    later = visit_of("job 2", "2025-03-04", fuel="propane")
    for rows in ([*visit_of("job 1"), *later], [*later, *visit_of("job 1")]):
        outcome = check(rows)
        assert outcome.bad_rows == 0
        assert [(note.row, note.column) for note in outcome.notes] == [(6, "fuel")]
