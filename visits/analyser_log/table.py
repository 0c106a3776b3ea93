"""Text to a table: which sign separates the cells, which the decimals, and what stands in which line."""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

LONGEST_TEXT = 250_000
MOST_ROWS = 5_000
MOST_COLUMNS = 40
LONGEST_CELL = 80
SEPARATORS = ("\t", ";", ",")
"""In the order in which they are looked for: a decimal comma is no separator where there is another."""
_DECIMAL = {",": re.compile(r"[-+]?\d+,\d+"), ".": re.compile(r"[-+]?\d*\.\d+")}
_NO_WORD = re.compile(r"[-+\d.,:;/ TZ]*")


class LogRefused(ValueError):
    """Why a log cannot be read: sentences that name line, column, value and limit."""

    def __init__(self, *sentences: str) -> None:
        super().__init__(" ".join(sentences))
        self.sentences = sentences


@dataclass(frozen=True)
class Table:
    """A log as rows of cells. `header`: a name per column; `rows`: the line of each and its cells."""

    header: Sequence[str]
    rows: Sequence[tuple[int, Sequence[str]]]
    decimal_mark: str

    @property
    def examples(self) -> list[tuple[str, str]]:
        """Each column's name with its first cell."""
        return list(zip(self.header, self.rows[0][1], strict=True))


def table_of(text: str) -> Table:
    """The table that the text is: tabs, semicolons or commas; decimal point or comma; a header or none.

    Raises LogRefused where it is none, or where it is longer than a log of one firing point can be.
    """
    if len(text) > LONGEST_TEXT:
        raise LogRefused(f"The log has {len(text)} characters; at most {LONGEST_TEXT}.")
    if "\0" in text:
        raise LogRefused("The log holds the character U+0000: it is no plain text.")
    rows = list(_rows(text.removeprefix("\ufeff")))
    if not rows:
        raise LogRefused("The log is empty.")
    first, cells = rows[0]
    named = any(not _NO_WORD.fullmatch(cell) for cell in cells)
    header = [cell or f"column {place}" for place, cell in enumerate(cells, start=1)] if named else []
    header = header or [f"column {place}" for place in range(1, len(cells) + 1)]
    if len(header) > MOST_COLUMNS:
        raise LogRefused(f"Line {first}: {len(header)} columns; at most {MOST_COLUMNS}.")
    body = rows[1:] if named else rows
    if not body:
        raise LogRefused(f"Line {first} is the only one: a log has readings below its header.")
    for line, row in body:
        if len(row) != len(header):
            raise LogRefused(f"Line {line}: {len(row)} cells where the first line has {len(header)}.")
    return Table(header, body, _decimal_mark(cell for _line, row in body for cell in row))


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that hold something, with the line they begin in."""
    lines = text.splitlines()
    first = next((line for line in lines if line.strip()), "")
    separator = next((sign for sign in SEPARATORS if sign in first), ",")
    reader, count, line = csv.reader(lines, delimiter=separator, strict=True), 0, 1
    while True:
        try:
            cells = [cell.strip() for cell in next(reader)]
        except StopIteration:
            return
        except csv.Error as error:
            raise LogRefused(f"Line {line} is no row of a table: {error}. Is a quote left open?") from error
        if any(cells):
            count += 1
            if count > MOST_ROWS + 1:
                raise LogRefused(f"The log has more than {MOST_ROWS} readings; at most as many.")
            long = next((cell for cell in cells if len(cell) > LONGEST_CELL), None)
            if long is not None:
                raise LogRefused(f"Line {line}: a cell of {len(long)} characters; at most {LONGEST_CELL}.")
            yield line, cells
        line = reader.line_num + 1


def _decimal_mark(cells: Iterator[str]) -> str:
    """The mark that decimals have, by the first cell that has one; a point where none has."""
    return next((mark for cell in cells for mark, form in _DECIMAL.items() if form.fullmatch(cell)), ".")
