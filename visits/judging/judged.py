"""What every rule is given: one case with its slice of the numbers; and how a finding names its test."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from visits.judging.case import Case, Draft, point_name
from visits.judging.health import Verdicts
from visits.judging.numbers import Numbers
from visits.judging.results import Values
from visits.models import FiringTest, Phase

_PHASES = dict(Phase.choices)


@dataclass(frozen=True)
class Judged:
    """One case with its slice of the numbers and verdicts.

    values: the numbers' state as plain numbers, of all cases.   tests: the standing ones with their places.
    """

    case: Case
    first: int
    numbers: Numbers
    values: Values
    verdicts: Verdicts

    @cached_property
    def tests(self) -> Sequence[tuple[int, FiringTest]]:
        """The standing tests with their places in the numbers."""
        tests = enumerate(self.case.tests, self.first)
        return [(place, test) for place, test in tests if not test.withdrawn_reason]

    def value(self, name: str, place: int) -> float | None:
        """A computed quantity, or None."""
        return self.values[name][place]


def place_name(test: FiringTest) -> str:
    """Where a test was read, in words."""
    burner = f", burner {test.burner.position}" if test.burner.position > 1 else ""
    return f"{point_name(test)}, {_PHASES[test.phase]}{burner}"


def at_test(test: FiringTest, code: str, **more: Any) -> Draft:
    evidence = {"place": place_name(test), "test": test.key, **more.pop("rests_on", {})}
    return Draft(code, f"test:{test.key}", test.burner, rests_on=evidence, **more)
