"""Import a history file: check the whole of it, then store it in chunks that a rerun completes."""

import gc
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from itertools import groupby
from operator import attrgetter
from pathlib import Path
from typing import TypeVar

from django.db import transaction
from django.utils import timezone

from common.aside import Ahead
from common.grouping import in_chunks
from common.models import AuditLine
from common.outbox import announce
from visits.history.cases import VisitRows
from visits.history.checks import Checker
from visits.history.columns import REASON, Row, RowReader
from visits.history.ledger import Ledger
from visits.history.loader import Judge, already_stored, visits_store
from visits.history.places import Places
from visits.history.reader import FileRefused, HistoryFile
from visits.history.report import ImportOutcome, Remarks, bad_rows_sheet, beside
from visits.judging.engine import judge_plainly

CHUNK_VISITS = 2500

T = TypeVar("T")
Progress = Callable[[str, int, int], None]
"""Told the step, the bytes done and the bytes in all."""


def _no_progress(step: str, done: int, total: int) -> None:
    pass


def history_import(
    *,
    path: Path,
    default_zone: str = "",
    dry_run: bool = False,
    skip_bad: bool = False,
    progress: Progress = _no_progress,
    judge: Judge = judge_plainly,
    chunk_visits: int = CHUNK_VISITS,
) -> ImportOutcome:
    """Check a history file and, where nothing in it is bad or `skip_bad` is set, store it.

    default_zone: name of the zone of times that carry none, and of new sites.   dry_run: check only, write
    nothing anywhere.   skip_bad: leave out the visits with bad rows and write their rows beside.
    Visits on file already are left as they are, so that running again after an interruption completes the
    import, and running twice changes nothing. Raises FileRefused where the file's structure is broken.
    """
    with HistoryFile(path) as file, closing(Ledger()) as ledger:
        run = _Run(file, ledger, default_zone, progress, None if dry_run else beside(path, "report"))
        try:
            run.check()
            run.outcome.refused = run.outcome.bad_rows > 0 and not skip_bad
            if not dry_run and not run.outcome.refused:
                run.load(judge, chunk_visits)
            return run.finished()
        finally:
            run.discard()


class _Run:
    """One import under way."""

    def __init__(
        self, file: HistoryFile, ledger: Ledger, default_zone: str, progress: Progress, report: Path | None
    ) -> None:
        self._file = file
        self._ledger = ledger
        self._default_zone = default_zone
        self._progress = progress
        self._reader = RowReader(file.header, default_zone)
        self._remarks = Remarks(report)
        self._bad_rows = bad_rows_sheet(file.path, file.header)
        self.outcome = ImportOutcome()

    def check(self) -> None:
        """The first pass."""
        checker = Checker(self._reader, self._ledger, self._remarks)
        for number, cells in self._file.records():
            if number % 1000 == 0:
                self._progress("checking", self._file.position, self._file.size)
            checker.check(number, cells)
        self._progress("checking", self._file.size, self._file.size)
        self.outcome.rows, self.outcome.bad_rows = checker.rows, checker.bad_rows
        self.outcome.visits, self.outcome.visits_left_out = self._ledger.visit_counts()

    def load(self, judge: Judge, chunk_visits: int) -> None:
        """The second pass. The last chunk's transaction announces the whole import."""
        with _collecting_only_what_is_new(), Ahead(in_chunks(self._good_visits(), chunk_visits)) as chunks:
            for chunk, is_last in _with_last(chunks):
                with transaction.atomic():
                    self._store(chunk, judge, chunks.begin)
                    if is_last and self.outcome.visits_stored:
                        self._announce()
                self._progress("storing", self._file.position, self._file.size)
        self._bad_rows.finish()
        self.outcome.bad_path = self._bad_rows.path if self._bad_rows.begun else None

    def finished(self) -> ImportOutcome:
        """The outcome, with its remarks."""
        outcome, remarks = self.outcome, self._remarks
        outcome.report_path = remarks.finish()
        outcome.fault_count, outcome.faults = remarks.fault_count, remarks.faults
        outcome.note_count, outcome.notes = remarks.note_count, remarks.notes
        return outcome

    def discard(self) -> None:
        """Leave no unfinished file beside."""
        self._bad_rows.discard()
        self._remarks.discard()

    def _store(self, chunk: list[VisitRows], judge: Judge, judged: Callable[[], None]) -> None:
        """Store those of the chunk that are not on file. judged: called where only writing is left."""
        already = already_stored([rows[0].visit for rows in chunk])
        fresh = [rows for rows in chunk if rows[0].visit not in already]
        self.outcome.visits_already += len(already)
        self.outcome.visits_stored += len(fresh)
        if not fresh:
            return
        places = Places(
            [row for rows in fresh for row in rows],
            ledger=self._ledger,
            remarks=self._remarks,
            default_zone=self._default_zone,
        )
        visits_store(fresh, places=places, now=timezone.now(), judge=judge, judged=judged)

    def _announce(self) -> None:
        announce("visits.imported", 0, visits=self.outcome.visits_stored)
        AuditLine.objects.create(
            actor_name="system",
            verb="imported",
            subject_type="visit",
            subject_id=0,
            detail={"file": self._file.path.name, "visits": self.outcome.visits_stored},
        )

    def _good_visits(self) -> Iterator[VisitRows]:
        for _, rows in groupby(self._good_rows(), key=attrgetter("visit")):
            yield list(rows)

    def _good_rows(self) -> Iterator[Row]:
        for number, cells in self._file.records():
            row, faults = self._reader.read(number, cells)
            reason = self._why_left_out(number, row)
            if reason:
                self._bad_rows.write([reason, *self._cells_as_given(cells)])
            elif row is not None:
                yield row
            else:
                raise FileRefused(f"Row {number} changed while the file was being read: {faults[0].reason}.")

    def _why_left_out(self, number: int, row: Row | None) -> str | None:
        if not self.outcome.bad_rows:
            return None
        reason = self._ledger.reason(number)
        if reason is None and row is not None:
            bad = self._ledger.bad_row_of(row.visit)
            return f"left out with row {bad} of the same visit" if bad else None
        return reason

    def _cells_as_given(self, cells: list[str]) -> list[str]:
        """Without the reasons of an earlier import, where a file of bad rows is given back."""
        if REASON not in self._file.header:
            return cells
        place = self._file.header.index(REASON)
        return cells[:place] + cells[place + 1 :]


@contextmanager
def _collecting_only_what_is_new() -> Iterator[None]:
    """Keep the collector of garbage from looking through all that stood before, again and again."""
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


def _with_last(items: Iterable[T]) -> Iterator[tuple[T, bool]]:
    """Each item, and whether it is the last."""
    held: list[T] = []
    for item in items:
        if held:
            yield held.pop(), False
        held.append(item)
    for item in held:
        yield item, True
