"""What the tests of the history import share."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.history.files import write
from visits.history.report import ImportOutcome
from visits.history.services import history_import

Importer = Callable[..., ImportOutcome]


@pytest.fixture
def bring_in(tmp_path: Path) -> Importer:
    """Import rows, or a file as it is."""

    def bring(rows: Iterable[Mapping[str, str]] | Path, **options: Any) -> ImportOutcome:
        path = rows if isinstance(rows, Path) else write(tmp_path / "history.csv", rows)
        return history_import(path=path, **options)

    return bring


@pytest.fixture
def check(bring_in: Importer) -> Importer:
    """Check rows, or a file as it is, without storing anything."""
    return lambda rows, **options: bring_in(rows, dry_run=True, **options)
