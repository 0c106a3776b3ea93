"""Import past firing tests from a CSV file. See docs/import.md."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from tqdm import tqdm

from visits.history.cells import Refusal, zone_name
from visits.history.reader import FileRefused
from visits.history.report import ImportOutcome, Remark
from visits.history.services import history_import


class Command(BaseCommand):
    help = "Check a CSV file of past firing tests and store its visits. Safe to run again."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE.csv")
        parser.add_argument("--dry-run", action="store_true", help="check the file and write nothing")
        parser.add_argument(
            "--skip-bad",
            action="store_true",
            help="leave out the visits that hold bad rows, and write their rows to FILE.bad.csv",
        )
        parser.add_argument(
            "--timezone", default="", metavar="ZONE", help="zone of times that carry none, and of new sites"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["timezone"]:
            try:
                zone_name(options["timezone"])
            except Refusal as refusal:
                raise CommandError(f"--timezone {options['timezone']!r} is {refusal}.") from refusal
        try:
            with _Bar() as bar:
                outcome = history_import(
                    path=options["file"],
                    default_zone=options["timezone"],
                    dry_run=options["dry_run"],
                    skip_bad=options["skip_bad"],
                    progress=bar.show,
                )
        except FileRefused as refusal:
            raise CommandError(f"{refusal} Nothing more was written.") from refusal
        self._tell(outcome, dry_run=options["dry_run"])

    def _tell(self, outcome: ImportOutcome, *, dry_run: bool) -> None:
        self._list("bad cell(s)", outcome.faults, outcome.fault_count)
        self._list("note(s)", outcome.notes, outcome.note_count)
        for what, path in (("All of them", outcome.report_path), ("Rows left out", outcome.bad_path)):
            if path is not None:
                self.stdout.write(f"{what}: {path}")
        self.stdout.write(
            f"{outcome.rows} row(s), {outcome.visits} visit(s); {outcome.bad_rows} bad row(s) in "
            f"{outcome.visits_left_out} visit(s)."
        )
        if outcome.refused:
            raise CommandError(
                "Nothing was stored. Mend the rows, or leave their visits out with --skip-bad."
            )
        if dry_run:
            self.stdout.write("Dry run: nothing was written.")
            return
        self.stdout.write(
            f"{outcome.visits_stored} visit(s) stored, {outcome.visits_already} on file already, "
            f"{outcome.visits_left_out} left out."
        )

    def _list(self, what: str, remarks: list[Remark], count: int) -> None:
        if count:
            self.stdout.write(f"{count} {what}:")
            for remark in remarks:
                self.stdout.write(f"  {remark}")
            if count > len(remarks):
                self.stdout.write(f"  … and {count - len(remarks)} more")


class _Bar:
    """A progress bar for each pass, on a terminal only."""

    def __init__(self) -> None:
        self._bar: tqdm | None = None

    def __enter__(self) -> "_Bar":
        return self

    def __exit__(self, *error: object) -> None:
        if self._bar is not None:
            self._bar.close()

    def show(self, step: str, done: int, total: int) -> None:
        """Move the bar of this step to so many of the file's bytes."""
        if self._bar is None or self._bar.desc != step:
            if self._bar is not None:
                self._bar.close()
            self._bar = tqdm(total=total, desc=step, unit="B", unit_scale=True, disable=None)
            self._bar.desc = step
        self._bar.update(done - self._bar.n)
