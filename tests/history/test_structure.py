"""A file whose structure is broken is refused as a whole, with where and why."""

from pathlib import Path

import pytest

from tests.history.conftest import Importer
from tests.history.files import ROW, row, visit_of, write
from visits.history.reader import RECORD_LIMIT, FileRefused


def _text(tmp_path: Path, content: str | bytes) -> Path:
    path = tmp_path / "history.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _good(tmp_path: Path) -> str:
    return write(tmp_path / "good.csv", visit_of("job 1")).read_bytes().decode()


@pytest.mark.parametrize("content", ["", "\n", "\r\n\r\n", "\ufeff", ",,,\n"])
def test_an_empty_file_is_refused(tmp_path: Path, check: Importer, content: str) -> None:
    with pytest.raises(FileRefused, match="no header"):
        check(_text(tmp_path, content))


def test_a_file_that_is_not_there_or_no_file_is_refused(tmp_path: Path, check: Importer) -> None:
    with pytest.raises(FileRefused, match="cannot be opened"):
        check(tmp_path / "nothing.csv")
    with pytest.raises(FileRefused, match="cannot be opened"):
        check(tmp_path)
    with pytest.raises(FileRefused, match="not a plain file"):
        check(Path("/dev/null"))


def test_a_header_alone_is_an_import_of_nothing(check: Importer) -> None:
    outcome = check([])
    assert (outcome.rows, outcome.visits, outcome.bad_rows) == (0, 0, 0)


def test_wrong_columns_are_all_named_at_once(tmp_path: Path, check: Importer) -> None:
    names = [name for name in ROW if name != "phase"]
    header = [*names, "colour", "co_ppm"]
    with pytest.raises(FileRefused) as refused:
        check(_text(tmp_path, ",".join(header) + "\n"))
    assert "lacks the column(s) 'phase'" in str(refused.value)
    assert "unknown column(s) 'colour'" in str(refused.value)
    assert "more than once the column(s) 'co_ppm'" in str(refused.value)


@pytest.mark.parametrize(("sign", "word"), [(";", "semicolons"), ("\t", "tabs"), ("|", "vertical bars")])
def test_another_separator_is_named(tmp_path: Path, check: Importer, sign: str, word: str) -> None:
    with pytest.raises(FileRefused, match=f"separated by {word}; separate them by commas"):
        check(_text(tmp_path, _good(tmp_path).replace(",", sign)))


def test_columns_may_come_in_any_order(tmp_path: Path, check: Importer) -> None:
    path = write(tmp_path / "history.csv", visit_of("job 1"), header=list(reversed(ROW)))
    assert check(path).bad_rows == 0


@pytest.mark.parametrize("begin", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_byte_order_mark_and_line_ends_make_no_difference(
    tmp_path: Path, check: Importer, begin: str, end: str
) -> None:
    text = begin + _good(tmp_path).replace("\r\n", end)
    outcome = check(_text(tmp_path, text))
    assert (outcome.rows, outcome.visits, outcome.bad_rows) == (4, 1, 0)


def test_a_last_line_without_its_end_counts(tmp_path: Path, check: Importer) -> None:
    assert check(_text(tmp_path, _good(tmp_path).rstrip())).rows == 4


def test_bytes_that_are_not_utf8_are_placed(tmp_path: Path, check: Importer) -> None:
    text = _good(tmp_path).replace("Mill Lane", "Café").encode("latin-1")
    with pytest.raises(FileRefused, match="Line 2 is not UTF-8: it has byte 0xe9"):
        check(_text(tmp_path, text))


def test_a_file_in_utf16_is_refused(tmp_path: Path, check: Importer) -> None:
    with pytest.raises(FileRefused, match="Line 1 is not UTF-8"):
        check(_text(tmp_path, _good(tmp_path).encode("utf-16")))


def test_a_quote_inside_a_cell_that_is_not_doubled_is_refused(tmp_path: Path, check: Importer) -> None:
    text = _good(tmp_path).replace("Mill Lane", '"Mill" Lane', 1)
    with pytest.raises(FileRefused, match=r"Row 2 \(line 2\) is not CSV"):
        check(_text(tmp_path, text))


def test_a_quote_left_open_is_refused(tmp_path: Path, check: Importer) -> None:
    text = _good(tmp_path).replace("Mill Lane", '"Mill Lane', 1)
    with pytest.raises(FileRefused, match="is not CSV"):
        check(_text(tmp_path, text))


def test_a_quote_left_open_in_a_long_file_does_not_swallow_it(tmp_path: Path, check: Importer) -> None:
    text = _good(tmp_path).replace("Mill Lane", '"Mill Lane', 1) + "x,y\n" * RECORD_LIMIT
    with pytest.raises(FileRefused, match="quote left open"):
        check(_text(tmp_path, text))


def test_one_endless_line_is_refused(tmp_path: Path, check: Importer) -> None:
    with pytest.raises(FileRefused, match="longer than"):
        check(_text(tmp_path, "customer," * RECORD_LIMIT))


def test_lines_that_end_with_a_lone_carriage_return_are_refused(tmp_path: Path, check: Importer) -> None:
    with pytest.raises(FileRefused, match="not CSV"):
        check(_text(tmp_path, _good(tmp_path).replace("\r\n", "\r")))


def test_empty_lines_are_passed_over_and_counted_as_rows(tmp_path: Path, check: Importer) -> None:
    header, first, *others = _good(tmp_path).splitlines()
    bad = first.replace("9.4", "much")
    outcome = check(_text(tmp_path, "\n".join([header, "", bad, "", *others])))
    assert [fault.row for fault in outcome.faults] == [3]
    assert outcome.rows == 4


def test_a_row_with_too_few_or_too_many_cells_is_bad(tmp_path: Path, check: Importer) -> None:
    header, *rows = _good(tmp_path).splitlines()
    outcome = check(_text(tmp_path, "\n".join([header, rows[0] + ",", "a,b", *rows[2:]])))
    assert [(fault.row, fault.reason) for fault in outcome.faults] == [
        (2, "27 cells where the header has 26"),
        (3, "2 cells where the header has 26"),
    ]


def test_a_nul_character_makes_its_row_bad(tmp_path: Path, check: Importer) -> None:
    text = _good(tmp_path).replace("Mill Lane", "Mill\0Lane", 1)
    outcome = check(_text(tmp_path, text))
    assert [(fault.row, fault.column, fault.reason) for fault in outcome.faults] == [
        (2, "site", "holds a NUL character")
    ]


def test_a_cell_may_hold_line_ends_quotes_and_commas(tmp_path: Path, check: Importer) -> None:
    name = 'Mill "Old" Lane,\nrear'
    assert check([row(site=name)]).bad_rows == 0


def test_a_file_that_changes_while_it_is_read_is_refused(
    tmp_path: Path, bring_in: Importer, db: None
) -> None:
    path = write(tmp_path / "history.csv", visit_of("job 1"))

    def spoil(step: str, done: int, total: int) -> None:
        if step == "checking":
            with path.open("a", encoding="utf-8") as file:
                file.write("\n")

    with pytest.raises(FileRefused, match="changed"):
        bring_in(path, progress=spoil)
