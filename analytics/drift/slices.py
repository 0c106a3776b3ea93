"""A fleet's steps in slices of whole stretches, worked through by two threads."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from analytics.drift.steps import Steps
from analytics.drift.threads import THREADS, in_threads

MOST = 4_000
"""Stretches in one slice: so few that its arrays stay near the processor."""
LEAST = 64
"""Stretches below which threads are not worth starting."""

_Done = TypeVar("_Done")


@dataclass(frozen=True)
class Slice:
    """Neighbouring stretches, and their steps, as places in the whole."""

    stretches: slice
    rows: slice


def over_slices(work: Callable[[Slice], _Done], steps: Steps) -> list[_Done]:
    """Work of each slice, in order."""
    return in_threads(work, slices_of(steps))


def slices_of(steps: Steps) -> list[Slice]:
    """The whole in slices of about equal size; one, perhaps empty, where there is little."""
    parts = max(-(-steps.stretches // MOST), min(THREADS, steps.stretches // LEAST), 1)
    stretches = np.linspace(0, steps.stretches, parts + 1).astype(np.int64)
    rows = np.searchsorted(steps.stretch, stretches)
    return [
        Slice(slice(*stretches[at : at + 2].tolist()), slice(*rows[at : at + 2].tolist()))
        for at in range(parts)
    ]
