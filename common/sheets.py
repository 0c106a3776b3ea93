"""Cells of files that people open in a spreadsheet: none of them is taken for a formula."""

from typing import Any

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


class Echo:
    """A file that hands back what is written to it, for a csv writer inside a stream."""

    def write(self, line: str) -> str:
        """The line itself."""
        return line


def inert(cell: Any) -> Any:
    """Text that a spreadsheet would run gets an apostrophe before it; numbers stay numbers."""
    if isinstance(cell, str) and cell.startswith(FORMULA_STARTS):
        return "'" + cell
    return cell


def live(cell: str) -> str:
    """The text without the apostrophe that `inert` put before it."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(FORMULA_STARTS) else cell
