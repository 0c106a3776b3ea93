"""The command: what it prints, and with which exit it ends."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.history.files import row, visit_of, write
from visits.models import Visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "history.csv"


def test_it_tells_what_was_stored(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(path, visit_of("job 1"))
    call_command("import_history", path, "--timezone", "Europe/London")
    told = capsys.readouterr()
    assert "4 row(s), 1 visit(s); 0 bad row(s) in 0 visit(s)." in told.out
    assert "1 visit(s) stored, 0 on file already, 0 left out." in told.out
    assert told.err == "", "a progress bar is for a terminal"


def test_bad_rows_end_it_with_a_failure_and_a_bounded_list(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(path, [row(visit=f"job {n}", co2_pct="x") for n in range(30)])
    with pytest.raises(CommandError, match="Nothing was stored"):
        call_command("import_history", path)
    told = capsys.readouterr().out
    assert "30 bad cell(s):" in told
    assert "  row 2, co2_pct: 'x' not a finite decimal number" in told
    assert "  … and 10 more" in told
    assert f"All of them: {path.with_name('history.report.csv')}" in told
    assert not Visit.objects.exists()


def test_a_dry_run_says_so(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(path, visit_of("job 1"))
    call_command("import_history", path, "--dry-run")
    assert "Dry run: nothing was written." in capsys.readouterr().out
    assert not Visit.objects.exists()


def test_skip_bad_stores_the_rest_and_names_the_file_beside(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(path, [*visit_of("job 1"), row(visit="job 2", co2_pct="x")])
    call_command("import_history", path, "--skip-bad")
    told = capsys.readouterr().out
    assert "1 visit(s) stored, 0 on file already, 1 left out." in told
    assert f"Rows left out: {path.with_name('history.bad.csv')}" in told


def test_an_unknown_zone_is_refused_before_anything_is_read(path: Path) -> None:
    with pytest.raises(CommandError, match=r"--timezone 'Mars/Base' is not a name of the IANA"):
        call_command("import_history", path, "--timezone", "Mars/Base")


def test_a_file_of_broken_structure_is_a_failure(path: Path) -> None:
    path.write_text("a;b;c\n", encoding="utf-8")
    with pytest.raises(CommandError, match="separated by semicolons"):
        call_command("import_history", path)
