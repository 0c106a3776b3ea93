"""What an import says: faults and notes by row, the first on the screen, all of many in a file beside."""

import csv
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

from common.sheets import inert
from visits.history.columns import REASON

SHOWN = 20
_VALUE_SHOWN = 80


@dataclass(frozen=True, slots=True)
class Remark:
    """One fault or note, placed in the file."""

    row: int
    column: str
    value: str
    reason: str

    def __str__(self) -> str:
        place = f"row {self.row}, {self.column}" if self.column else f"row {self.row}"
        value = self.value[:_VALUE_SHOWN] + "…" if len(self.value) > _VALUE_SHOWN else self.value
        return f"{place}: {value!r} {self.reason}" if value else f"{place}: {self.reason}"


class SheetBeside:
    """A CSV file made next to the imported one, only once there is something to write in it.

    It takes its name when complete, so that a half-written one is never mistaken for the whole.
    """

    def __init__(self, path: Path, header: Sequence[str]) -> None:
        self.path = path
        self._header = header
        self._unfinished = path.with_name(path.name + ".part")
        self._file: TextIO | None = None

    @property
    def begun(self) -> bool:
        """Whether anything was written."""
        return self._file is not None

    def write(self, cells: Sequence[object]) -> None:
        """Add one row."""
        if self._file is None:
            self._file = self._unfinished.open("w", encoding="utf-8", newline="")
            self._sheet = csv.writer(self._file)
            self._sheet.writerow(self._header)
        self._sheet.writerow(cells)

    def finish(self) -> None:
        """Give the file its name, if there is one."""
        if self._file is not None:
            self._file.close()
            os.replace(self._unfinished, self.path)

    def discard(self) -> None:
        """Leave nothing of an unfinished file behind."""
        if self._file is not None:
            self._file.close()
            self._unfinished.unlink(missing_ok=True)


class Remarks:
    """Faults and notes of one import: counted, the first of each kept, all of many written beside.

    Without a place beside (a dry run), only the first are kept.
    """

    def __init__(self, beside: Path | None) -> None:
        self.fault_count = 0
        self.note_count = 0
        self.faults: list[Remark] = []
        self.notes: list[Remark] = []
        self._sheet = SheetBeside(beside, ["kind", "row", "column", "value", "reason"]) if beside else None

    def fault(self, remark: Remark) -> None:
        """Something that cannot be stored."""
        self.fault_count += 1
        self._add("fault", remark, self.faults)

    def note(self, remark: Remark) -> None:
        """Something that is stored otherwise than the file may lead one to expect."""
        self.note_count += 1
        self._add("note", remark, self.notes)

    def finish(self) -> Path | None:
        """Complete the file beside. Returns its path where there is one."""
        if self._sheet is None or not self._sheet.begun:
            return None
        self._sheet.finish()
        return self._sheet.path

    def discard(self) -> None:
        """Leave nothing of an unfinished file behind."""
        if self._sheet is not None:
            self._sheet.discard()

    def _add(self, kind: str, remark: Remark, first: list[Remark]) -> None:
        if self._sheet is not None and not self._sheet.begun and len(first) == SHOWN:
            for earlier_kind, earlier in (("fault", self.faults), ("note", self.notes)):
                for one in earlier:
                    self._write(self._sheet, earlier_kind, one)
        if self._sheet is not None and self._sheet.begun:
            self._write(self._sheet, kind, remark)
        if len(first) < SHOWN:
            first.append(remark)

    @staticmethod
    def _write(sheet: SheetBeside, kind: str, remark: Remark) -> None:
        cells = [kind, remark.row, remark.column, remark.value, remark.reason]
        sheet.write([inert(cell) for cell in cells])


def bad_rows_sheet(path: Path, header: Sequence[str]) -> SheetBeside:
    """Where the rows left out go: the reason first, then the row exactly as it came."""
    return SheetBeside(beside(path, "bad"), [REASON, *(name for name in header if name != REASON)])


def beside(path: Path, word: str) -> Path:
    """`history.csv` and `bad` give `history.bad.csv`, in the same folder."""
    return path.with_name(f"{path.stem}.{word}.csv")


@dataclass
class ImportOutcome:
    """What an import found and did. Counts are of rows (firing tests) and visits."""

    rows: int = 0
    visits: int = 0
    bad_rows: int = 0
    visits_left_out: int = 0
    visits_stored: int = 0
    visits_already: int = 0
    refused: bool = False
    fault_count: int = 0
    note_count: int = 0
    faults: list[Remark] = field(default_factory=list)
    notes: list[Remark] = field(default_factory=list)
    report_path: Path | None = None
    bad_path: Path | None = None
