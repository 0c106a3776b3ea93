"""Whatever a file holds, it is stored as stated or refused by name; nothing in between."""

import csv
import io
import math
import string
import tempfile
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.models import Customer
from tests.history.files import ROW, row, write
from visits.history.cells import visit_uuid
from visits.history.columns import COLUMNS
from visits.history.reader import FileRefused
from visits.history.services import history_import
from visits.models import FiringTest, Visit

_CALM = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

names = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="\N{SOFT HYPHEN}"),
    min_size=1,
    max_size=60,
).map(lambda text: " ".join(text.split()))
values = st.one_of(st.none(), st.floats(-999_999, 999_999, allow_nan=False))
offsets = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
moments = st.builds(
    lambda seconds, offset: (datetime(1990, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)).astimezone(
        offset
    ),
    st.integers(0, 200 * 365 * 86_400),
    offsets,
)
tests_of_a_visit = st.lists(
    st.tuples(
        moments, st.sampled_from(["high", "low"]), st.sampled_from(["as_found", "as_left"]), values, values
    ),
    min_size=1,
    max_size=6,
)


@pytest.mark.django_db
@_CALM
@given(
    visits=st.dictionaries(names.filter(bool), tests_of_a_visit, min_size=1, max_size=5),
    name=names.filter(bool),
)
def test_a_good_file_is_stored_as_stated(visits: dict, name: str) -> None:
    Visit.objects.all().delete()
    rows = [
        row(
            visit=visit,
            customer=name,
            observed_at=at.isoformat(),
            firing_point=point,
            phase=phase,
            co2_pct="" if co2 is None else repr(co2),
            co_ppm="" if co is None else repr(co),
        )
        for visit, tests in visits.items()
        for at, point, phase, co2, co in tests
    ]
    with tempfile.TemporaryDirectory() as folder:
        outcome = history_import(path=write(Path(folder) / "h.csv", rows), chunk_visits=2)
    assert outcome.faults == []
    stored = {
        (test.visit.uuid, test.sequence): (
            test.observed_at,
            test.point,
            test.phase,
            test.co2_pct,
            test.co_ppm,
        )
        for test in FiringTest.objects.select_related("visit")
    }
    stated = {
        (visit_uuid(visit), order): test
        for visit, tests in visits.items()
        for order, test in enumerate(tests, start=1)
    }
    assert stored == stated
    FiringTest.objects.all().delete()
    Visit.objects.all().delete()


hostile_cells = st.one_of(
    st.text(st.characters(codec="utf-8"), max_size=40),
    st.sampled_from(
        ["", "nan", "1e999", "=1+1", "\0", "high", "as_left", "0", "-1", "9" * 500, "2024-03-05", "yes"]
    ),
)


@_CALM
@given(data=st.data())
def test_any_cell_is_taken_or_named(data: st.DataObject) -> None:
    columns = data.draw(st.lists(st.sampled_from(sorted(COLUMNS)), min_size=1, max_size=4, unique=True))
    changed = {column: data.draw(hostile_cells) for column in columns}
    with tempfile.TemporaryDirectory() as folder:
        path = write(Path(folder) / "h.csv", [row(**changed)])
        outcome = history_import(path=path, dry_run=True)
    assert outcome.rows == 1
    blamed = {fault.column for fault in outcome.faults}
    assert blamed <= {*columns, "observed_at"}
    assert (outcome.bad_rows == 1) == bool(blamed)


@_CALM
@given(content=st.binary(max_size=400), after_header=st.booleans())
def test_any_bytes_are_read_or_refused(content: bytes, after_header: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "h.csv"
        header = ",".join(ROW).encode() + b"\n"
        path.write_bytes(header + content if after_header else content)
        try:
            outcome = history_import(path=path, dry_run=True)
        except FileRefused:
            return
    assert outcome.refused or outcome.rows == 0


@pytest.mark.django_db
@_CALM
@given(text=st.text(string.printable, max_size=60))
def test_a_cell_survives_the_way_through_quotes(text: str) -> None:
    sheet = io.StringIO(newline="")
    csv.writer(sheet).writerow([text])
    with tempfile.TemporaryDirectory() as folder:
        path = write(Path(folder) / "h.csv", [row(visit=f"v{text}v", customer=f"c{text}c")])
        history_import(path=path)
    assert Customer.objects.filter(name=f"c{text}c").exists()
    assert math.isclose(FiringTest.objects.latest("pk").co2_pct, 9.0)
