"""The code by which anyone can look a service record up: short enough to type, too long to guess.

Twelve characters of a 32-letter alphabet without I, L, O and U are 60 random bits; with a million records
issued, one guess in about 10^12 meets one, and the page that takes them is throttled.
"""

import secrets

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 12
CHECK_PATH = "record/"
"""Where on our site a code is looked up; the code follows it."""

_READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1"})


def code_new() -> str:
    """A fresh random code, as stored: twelve characters with nothing between them."""
    return "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))


def code_shown(code: str) -> str:
    """As printed, in three groups of four.

    >>> code_shown("7KQF3M9TXW2R")
    '7KQF-3M9T-XW2R'
    """
    return "-".join(code[start : start + 4] for start in range(0, LENGTH, 4))


def code_read(text: str) -> str | None:
    """The stored form of what a person typed, or None where it cannot be a code.

    Case, spaces and hyphens do not matter; O is read as 0, I and L as 1.

    >>> code_read(" 7kqf 3m9t-xw2r ")
    '7KQF3M9TXW2R'
    >>> code_read("7KQF-3M9T") is None
    True
    """
    code = "".join(text.split()).replace("-", "").upper().translate(_READ_AS)
    return code if len(code) == LENGTH and set(code) <= set(ALPHABET) else None
