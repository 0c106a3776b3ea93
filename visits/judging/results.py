"""What is stored of each test's numbers and verdict: as plain values for whole tables, or as rows."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from combustion.acceptance import verdict
from common.unsaved import unsaved
from visits.judging.health import Verdicts
from visits.judging.numbers import Numbers
from visits.models import TestResult
from visits.models.results import QUANTITIES

# 2: settled by the stream, its scatter in the uncertainty; low fire corrected for a throttle move.
# 3: a CO that was not read gives no CO results, where it gave 0; what was opened before as found is said.
ENGINE_VERSION = 3

Values = Mapping[str, Sequence[float | None]]
"""Quantity to its value per test, None where it cannot be given."""

RESULT_COLUMNS: Final = (
    "engine_version", "bias_run", "spec_id", "verdict", "p_inside",
    "target_low_co2_pct", "target_high_co2_pct", "accept_low_co2_pct", "accept_high_co2_pct",
    *QUANTITIES, *(f"u_{name}" for name in QUANTITIES), "why",
)  # fmt: skip
_RESULT = TestResult()
_NO_BAND = (None, None, None, None)


def listed(columns: Mapping[str, NDArray[np.float64]]) -> Values:
    """Columns as plain numbers."""
    return {
        name: [value if value == value else None for value in column.tolist()]
        for name, column in columns.items()
    }


def result_values(numbers: Numbers, values: Values, verdicts: Verdicts) -> list[tuple[Any, ...]]:
    """Per test its result, in the order of RESULT_COLUMNS."""
    u = listed({name: numbers.u[name] for name in QUANTITIES})
    count = len(numbers.tests)
    inside = [verdicts.p_inside.get(place) for place in range(count)]
    specs = [case.spec_for(test) for test, case in zip(numbers.tests, numbers.cases, strict=True)]
    bands = [
        (band.target_low, band.target_high, band.accept_low, band.accept_high) if band else _NO_BAND
        for band in (verdicts.bands.get(place) for place in range(count))
    ]
    return [
        (ENGINE_VERSION, bias_run, spec.pk if spec else None, word, probability, *band, *measures, why)
        for bias_run, spec, word, probability, band, why, *measures in zip(
            [case.period.applied_bias_run if case.period else None for case in numbers.cases],
            specs,
            _words(inside),
            inside,
            bands,
            numbers.why,
            *(values[name] for name in QUANTITIES),
            *(u[name] for name in QUANTITIES),
            strict=True,
        )
    ]


def results_build(numbers: Numbers, values: Values, verdicts: Verdicts) -> list[TestResult]:
    """The same as rows, not stored yet."""
    rows = result_values(numbers, values, verdicts)
    return [
        unsaved(_RESULT, {"test": test}, zip(RESULT_COLUMNS, row, strict=True))
        for test, row in zip(numbers.tests, rows, strict=True)
    ]


def _words(probabilities: Sequence[float | None]) -> list[str]:
    return [_WORDS[word] for word in verdict(np.array(probabilities, dtype=np.float64)).tolist()]


_WORDS = {
    "unknown": TestResult.Verdict.NOT_JUDGED.value,
    **{word: word.replace(" ", "_") for word in ("inside", "probably inside", "probably outside", "outside")},
}
