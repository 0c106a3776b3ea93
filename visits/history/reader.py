"""Streams the records of a CSV file in constant memory, and refuses a file whose structure is broken."""

import csv
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

from visits.history.columns import COLUMNS, REASON, REQUIRED

RECORD_LIMIT = 100_000
"""Characters in one record. A longer one is a quote left open, or no such file."""

_BOM = b"\xef\xbb\xbf"
_OTHER_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "vertical bars"}


class FileRefused(Exception):
    """The file cannot be read as a history: one sentence that says where and why."""


class HistoryFile:
    """A file open for reading more than once: UTF-8 with or without byte order mark, commas, a header.

    Use it as a context manager. Raises FileRefused where the structure is broken: not UTF-8, another
    separator, a wrong header, a quote left open, a record over the limit, or a file changed between readings.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.header: list[str] = []
        self.position = 0  # bytes read so far, for whoever shows progress
        self._line = 0
        self._record_chars = 0

    def __enter__(self) -> Self:
        try:
            self._file: BinaryIO = self.path.open("rb")
        except OSError as error:
            raise FileRefused(f"{self.path} cannot be opened: {error.strerror}.") from error
        try:
            self._state = self._stat()
            self.header = self._checked_header()
        except BaseException:
            self._file.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()

    @property
    def size(self) -> int:
        """Bytes in the file."""
        return self._state[0]

    def records(self) -> Iterator[tuple[int, list[str]]]:
        """Every record after the header with its number, the header being 1; empty lines count too."""
        records = self._numbered()
        next(records)
        for number, cells in records:
            if cells:
                yield number, cells
        if self._stat() != self._state:
            raise FileRefused(f"{self.path} changed while it was being read.")

    def _stat(self) -> tuple[int, int]:
        status = os.fstat(self._file.fileno())
        if not stat.S_ISREG(status.st_mode):
            raise FileRefused(f"{self.path} is not a plain file; it has to be read twice.")
        return status.st_size, status.st_mtime_ns

    def _numbered(self) -> Iterator[tuple[int, list[str]]]:
        reader = csv.reader(self._lines(), strict=True)
        number = 0
        while True:
            number += 1
            self._record_chars = 0
            try:
                cells = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                raise FileRefused(
                    f"Row {number} (line {self._line}) is not CSV: {error}. Look for a quote left open, or "
                    'for one inside a cell that is not doubled ("").'
                ) from error
            yield number, cells

    def _lines(self) -> Iterator[str]:
        self.position = len(_BOM) if self._begins_with_bom() else 0
        self._file.seek(self.position)
        self._line = 0
        while line := self._file.readline(RECORD_LIMIT):
            self._line += 1
            self._record_chars += len(line)
            self.position += len(line)
            if self._record_chars >= RECORD_LIMIT:
                raise FileRefused(
                    f"The record that goes on in line {self._line} is longer than {RECORD_LIMIT} bytes. "
                    "Look for a quote left open; lines end with LF or CR LF."
                )
            try:
                yield line.decode()
            except UnicodeDecodeError as error:
                raise FileRefused(
                    f"Line {self._line} is not UTF-8: it has byte {line[error.start]:#04x} at place "
                    f"{error.start + 1}. Save the file as UTF-8."
                ) from error

    def _begins_with_bom(self) -> bool:
        self._file.seek(0)
        return self._file.read(len(_BOM)) == _BOM

    def _checked_header(self) -> list[str]:
        first = next(self._numbered(), None)
        if first is None or not any(cell.strip() for cell in first[1]):
            raise FileRefused(f"{self.path} has no header: its first row is empty.")
        header = [cell.strip() for cell in first[1]]
        wrongs = _header_wrongs(header)
        if wrongs:
            raise FileRefused("The header cannot be used: " + "; ".join(wrongs) + ".")
        return header


def _header_wrongs(header: list[str]) -> list[str]:
    separator = next((sign for sign in _OTHER_SEPARATORS if any(sign in name for name in header)), None)
    if separator and len(header) < len(REQUIRED):
        return [f"its columns are separated by {_OTHER_SEPARATORS[separator]}; separate them by commas"]
    known = {*COLUMNS, REASON}
    missing = [name for name in COLUMNS if name in REQUIRED and name not in header]
    unknown = [name for name in dict.fromkeys(header) if name not in known]
    twice = [name for name in dict.fromkeys(header) if name in known and header.count(name) > 1]
    return [
        f"{what} {', '.join(repr(name[:60]) for name in names[:40])}"
        for what, names in (
            ("it lacks the column(s)", missing),
            ("it has the unknown column(s)", unknown),
            ("it has more than once the column(s)", twice),
        )
        if names
    ]
