"""Rows by what they belong to, or some at a time."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any, TypeVar

T = TypeVar("T")


def grouped(rows: Iterable[Any], path: str) -> defaultdict[Any, list[Any]]:
    """Rows in lists by the attribute at the end of a dotted path; a key without rows gives an empty list."""
    groups: defaultdict[Any, list[Any]] = defaultdict(list)
    for row in rows:
        key: Any = row
        for name in path.split("."):
            key = getattr(key, name)
        groups[key].append(row)
    return groups


def in_chunks(items: Iterable[T], size: int) -> Iterator[list[T]]:
    """Lists of `size` items each, the last of what is left."""
    remaining = iter(items)
    while chunk := list(islice(remaining, size)):
        yield chunk
