"""What every rule is given: one case with its slice of the numbers; and how a finding names its test."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from visits.judging.case import Case, Draft
from visits.judging.health import Verdicts
from visits.judging.numbers import Numbers
from visits.models import FiringTest


@dataclass(frozen=True)
class Judged:
    """One case with its slice of the numbers and verdicts."""

    case: Case
    first: int
    numbers: Numbers
    verdicts: Verdicts

    def tests(self) -> Iterator[tuple[int, FiringTest]]:
        """The standing tests with their places in the numbers."""
        for offset, test in enumerate(self.case.tests):
            if not test.withdrawn_reason:
                yield self.first + offset, test

    def value(self, name: str, place: int) -> float | None:
        """A computed quantity, or None."""
        value = float(self.numbers.state[name][place])
        return value if np.isfinite(value) else None


def place_name(test: FiringTest) -> str:
    """Where a test was read, in words."""
    point = f"{test.percent:g} % of rate" if test.percent else test.get_point_display()
    burner = f", burner {test.burner.position}" if test.burner.position > 1 else ""
    return f"{point}, {test.get_phase_display()}{burner}"


def at_test(test: FiringTest, code: str, **more: Any) -> Draft:
    evidence = {"place": place_name(test), "test": test.key, **more.pop("rests_on", {})}
    return Draft(code, f"test:{test.key}", test.burner, rests_on=evidence, **more)
