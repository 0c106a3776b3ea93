"""Words of our own written into a statement as they are, not sent beside it.

A prepared statement that is used often gets a plan made for any value. Where one word is rare and another
common ("make_safe" among findings), such a plan reads the whole table for the rare one. With the word in the
statement the plan is made for it.
"""

import re
from typing import Any

from django.db.models import Expression, TextField

_WORD = re.compile(r"[a-z][a-z0-9_]{0,39}")


class Literal(Expression):
    """A constant word of the code's own; raises ValueError on anything but a-z, 0-9 and `_`."""

    def __init__(self, word: str) -> None:
        super().__init__(output_field=TextField())
        if not _WORD.fullmatch(word):
            raise ValueError(f"{word!r} is no word of the code's own; a literal holds a-z, 0-9 and _ only")
        self.word = str(word)

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[()]]:
        """The word in quotes; there is nothing in it to escape."""
        return f"'{self.word}'", ()
