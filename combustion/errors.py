"""Errors of the package: each carries the field, the value and the limit it broke."""

from __future__ import annotations


class OutOfRange(ValueError):
    """A value that cannot be computed with, named so that a person can correct it.

    field: name of the argument, its unit in the name.   value: what was given.   limit: what was expected,
    in words.   index: position in the array (None for a single value).   code: short stable word.
    Limits: none.   Source: none, a definition of this package.

    >>> str(OutOfRange("o2_pct", 21.3, "0 <= o2_pct < 20.95", index=4))
    'o2_pct is 21.3 at index 4; expected 0 <= o2_pct < 20.95'
    """

    def __init__(
        self,
        field: str,
        value: float | str,
        limit: str,
        *,
        index: int | None = None,
        code: str = "out_of_range",
    ) -> None:
        where = "" if index is None else f" at index {index}"
        super().__init__(f"{field} is {value}{where}; expected {limit}")
        self.field = field
        self.value = value
        self.limit = limit
        self.index = index
        self.code = code
