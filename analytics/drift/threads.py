"""Two threads for independent parts: long array operations leave the interpreter free."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

THREADS = 2

_Part = TypeVar("_Part")
_Done = TypeVar("_Done")


def in_threads(work: Callable[[_Part], _Done], parts: Sequence[_Part]) -> list[_Done]:
    """Work of each part, in order. One part is done here: starting threads costs more than a small refit."""
    if len(parts) < 2:
        return [work(part) for part in parts]
    with ThreadPoolExecutor(THREADS) as pool:
        return list(pool.map(work, parts))
