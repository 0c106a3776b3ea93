"""Rows by what they belong to."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any


def grouped(rows: Iterable[Any], path: str) -> defaultdict[Any, list[Any]]:
    """Rows in lists by the attribute at the end of a dotted path; a key without rows gives an empty list."""
    groups: defaultdict[Any, list[Any]] = defaultdict(list)
    for row in rows:
        key: Any = row
        for name in path.split("."):
            key = getattr(key, name)
        groups[key].append(row)
    return groups
