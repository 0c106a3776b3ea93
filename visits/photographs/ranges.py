"""The headers of an upload in parts: Content-Range (RFC 9110, 14.4) and Repr-Digest (RFC 9530). Pure."""

import base64
import binascii
import re
from dataclasses import dataclass

from common.problems import Problem

_RANGE = re.compile(r"bytes (\d{1,12})-(\d{1,12})/(\d{1,12})")
_DIGEST = re.compile(r"(?:^|,)\s*sha-256=:([A-Za-z0-9+/]{43}=):")


@dataclass(frozen=True)
class Part:
    """Bytes from `start` up to but not including `end`, of `total`."""

    start: int
    end: int
    total: int

    @property
    def is_whole(self) -> bool:
        """The part is the whole file."""
        return self.start == 0 and self.end == self.total


def part_of(header: str | None, length: int) -> Part:
    """Which part a body of this many bytes is; without the header the whole. Raises Problem `range_wrong`."""
    if header is None:
        return Part(0, length, length)
    match = _RANGE.fullmatch(header.strip())
    if match is None:
        raise _wrong("Write it as «bytes FIRST-LAST/TOTAL».")
    first, last, total = map(int, match.groups())
    if last < first or last >= total:
        raise _wrong(f"Byte {last} is not between {first} and the end of {total} bytes.")
    if last - first + 1 != length:
        raise _wrong(f"It speaks of {last - first + 1} bytes, and {length} came.")
    return Part(first, last + 1, total)


def digest_of(header: str | None) -> str:
    """The SHA-256 of the whole file, hexadecimal; empty without the header. Raises Problem `digest_wrong`."""
    if header is None:
        return ""
    match = _DIGEST.search(header)
    try:
        return base64.b64decode(match.group(1), validate=True).hex() if match else _no_digest()
    except binascii.Error:
        return _no_digest()


def _no_digest() -> str:
    raise Problem("digest_wrong", "Repr-Digest needs «sha-256=:BASE64:» of the whole file.")


def _wrong(why: str) -> Problem:
    return Problem("range_wrong", f"The Content-Range cannot be taken. {why}")
