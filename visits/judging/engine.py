"""The engine: cases in, judgements out, and on the tests what was inferred. No query, no write, no clock."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

from visits.judging.case import Case, Draft, Judgement
from visits.judging.catalogue import FINDINGS
from visits.judging.health import Verdicts, judge_health
from visits.judging.inferred import inferred_apply
from visits.judging.judged import Judged
from visits.judging.numbers import Numbers, numbers_of
from visits.judging.results import ENGINE_VERSION, Values, listed, result_values, results_build
from visits.judging.rules import findings_of
from visits.models import FiringTest

__all__ = ["ENGINE_VERSION", "judge", "judge_plainly"]

ResultsOf = Callable[[Numbers, Values, Verdicts], Sequence[Any]]


def judge(cases: Sequence[Case]) -> list[Judgement]:
    """Judge all cases together: one pass of numbers, then the rules case by case."""
    judgements, results = _judged(cases, results_build)
    remaining = iter(results)
    return [
        replace(judgement, results=list(islice(remaining, len(case.tests))))
        for judgement, case in zip(judgements, cases, strict=True)
    ]


def judge_plainly(cases: Sequence[Case]) -> tuple[list[Judgement], Sequence[tuple[Any, ...]]]:
    """The same for writing whole tables: the results stand apart, of all tests in the order of the cases.

    They are values in the order of RESULT_COLUMNS; those of the judgements are empty.
    """
    return _judged(cases, result_values)


def _judged(cases: Sequence[Case], results_of: ResultsOf) -> tuple[list[Judgement], Sequence[Any]]:
    numbers = numbers_of(cases)
    inferred_apply(cases, numbers)
    verdicts, as_found, as_left = judge_health(cases, numbers)
    values = listed(numbers.state)
    judgements, first = [], 0
    for case, found, left in zip(cases, as_found, as_left, strict=True):
        findings = findings_of(Judged(case, first, numbers, values, verdicts))
        judgements.append(Judgement((), findings, _kept_out(case, findings), found, left))
        first += len(case.tests)
    return judgements, results_of(numbers, values, verdicts)


def _kept_out(case: Case, findings: Sequence[Draft]) -> list[str]:
    """Per test the code of the first finding that keeps it out of drift, or nothing."""
    by_subject = {
        draft.subject: draft.code for draft in reversed(findings) if FINDINGS[draft.code].keeps_out_of_drift
    }
    return [_why_out(test, by_subject) for test in case.tests]


def _why_out(test: FiringTest, by_subject: dict[str, str]) -> str:
    if test.withdrawn_reason:
        return "withdrawn"
    return by_subject.get(f"test:{test.key}") or by_subject.get("", "")
