"""Memory does not grow with the file."""

import tracemalloc
from pathlib import Path

import pytest

from tests.history.files import invented_fleet, write
from visits.history import ledger
from visits.history.services import history_import


def _peak(path: Path) -> int:
    tracemalloc.start()
    try:
        history_import(path=path, dry_run=True)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_checking_four_times_the_rows_takes_no_more_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Small enough to be full in the shorter file already: visits, appliances and sites grow with both.
    monkeypatch.setattr(ledger, "CACHED_ENTITIES", 200)
    short = write(tmp_path / "short.csv", invented_fleet(1500, 750))
    long = write(tmp_path / "long.csv", invented_fleet(6000, 3000))
    # what is kept once for good (statements that the driver prepares, say) is there before any weighing
    history_import(path=long, dry_run=True)
    assert _peak(long) < 1.15 * _peak(short)
