"""A file as it came, made into a table or refused by what is in it, whatever its name says."""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator

import openpyxl
import tablib

from common.sheets import live

MAX_BYTES = 2_000_000
MAX_UNPACKED_BYTES = 30_000_000
MAX_PARTS = 200
MAX_ROWS = 2000
MAX_COLUMNS = 40
MAX_CELL = 4000
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
_ZIP = b"PK\x03\x04"


class Refused(ValueError):
    """The file cannot be taken, and why, in one sentence for whoever sent it."""


def table_read(content: bytes, *, separator: str) -> tablib.Dataset:
    """The rows of a CSV (UTF-8) or XLSX file, every cell as text.

    separator: `comma`, `semicolon` or `tab`, for CSV.   At most 2 MB, 30 MB unpacked, 2,000 rows, 40 columns
    and 4,000 characters a cell. Raises Refused; nothing of the file is ever run.
    """
    if len(content) > MAX_BYTES:
        raise Refused(f"The file has {len(content):,} bytes; at most {MAX_BYTES:,} are taken at once.")
    if not content.strip():
        raise Refused("The file is empty.")
    rows = _sheet_rows(content) if content.startswith(_ZIP) else _csv_rows(content, SEPARATORS[separator])
    return _table(rows)


def _csv_rows(content: bytes, separator: str) -> Iterator[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused("This is neither an XLSX workbook nor text in UTF-8.") from error
    if "\x00" in text or text.lstrip()[:1] in ("<", "{"):
        raise Refused("This is neither an XLSX workbook nor a table in CSV.")
    try:
        yield from csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    except csv.Error as error:
        raise Refused(f"The file breaks off as a CSV table: {error}.") from error


def _sheet_rows(content: bytes) -> Iterator[list[str]]:
    _refuse_hostile_workbook(content)
    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, keep_links=False)
        for number, row in enumerate(book.worksheets[0].iter_rows(max_col=MAX_COLUMNS + 1), 1):
            if any(cell.data_type == "f" for cell in row):
                raise Refused(f"Row {number} holds a formula; save the sheet with values only.")
            yield ["" if cell.value is None else _as_text(cell.value) for cell in row]
    except Refused:
        raise
    except Exception as error:
        # The reader fails in many ways on a broken workbook; each means the same to whoever sent it.
        raise Refused("The workbook cannot be read.") from error


def _as_text(value: object) -> str:
    if hasattr(value, "isoformat"):
        return str(value.isoformat())[:10]
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _refuse_hostile_workbook(content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
            names = {part.filename for part in parts}
            if len(parts) > MAX_PARTS or sum(part.file_size for part in parts) > MAX_UNPACKED_BYTES:
                raise Refused(f"The workbook unpacks to more than {MAX_UNPACKED_BYTES:,} bytes.")
            if not {"[Content_Types].xml", "xl/workbook.xml"} <= names:
                raise Refused("This archive is not an XLSX workbook.")
            if any(name.lower().endswith(".bin") for name in names):
                raise Refused("The workbook holds macros or other programs.")
            for part in parts:
                if part.filename.endswith((".xml", ".rels")):
                    _refuse_entities(archive.read(part))
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, OSError) as error:
        raise Refused("The workbook cannot be unpacked.") from error


def _refuse_entities(part: bytes) -> None:
    if b"<!DOCTYPE" in part or b"<!ENTITY" in part:
        raise Refused("The workbook holds document type definitions, which no spreadsheet writes.")


def _table(rows: Iterable[list[str]]) -> tablib.Dataset:
    table = tablib.Dataset()
    for row in rows:
        cells = [live(cell).strip() for cell in row]
        while cells and not cells[-1] and (table.headers is None or len(cells) > len(table.headers)):
            cells.pop()
        if not any(cells):
            continue
        if len(cells) > MAX_COLUMNS or any(len(cell) > MAX_CELL for cell in cells):
            raise Refused(f"More than {MAX_COLUMNS} columns, or a cell of over {MAX_CELL:,} characters.")
        if table.headers is None:
            _refuse_twin_heads(cells)
            table.headers = cells
        elif len(cells) > len(table.headers):
            raise Refused(f"Row {len(table) + 2} has more cells than the first row has names.")
        elif len(table) == MAX_ROWS:
            raise Refused(f"More than {MAX_ROWS:,} rows; send the list in parts.")
        else:
            table.append([*cells, *[""] * (len(table.headers) - len(cells))])
    if table.headers is None or len(table) == 0:
        raise Refused("There is no row below the names of the columns.")
    return table


def _refuse_twin_heads(names: list[str]) -> None:
    twins = sorted({name for name in names if names.count(name) > 1})
    if twins:
        raise Refused(f"Two columns are called «{twins[0]}».")
