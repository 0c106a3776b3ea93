"""Lists as files: streamed, and with cells that no spreadsheet takes for a formula."""

from typing import Any

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


class Echo:
    """A file that hands back what is written to it, for a csv writer inside a stream."""

    def write(self, line: str) -> str:
        """The line itself."""
        return line


def inert(cell: Any) -> Any:
    """Text that a spreadsheet would run gets an apostrophe before it; numbers stay numbers."""
    if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS):
        return "'" + cell
    return cell
