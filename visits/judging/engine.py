"""The engine: cases in, judgements out, and on the tests what was inferred. No query, no write, no clock."""

from collections.abc import Sequence

import numpy as np

from combustion.acceptance import verdict
from visits.judging.case import Case, Draft, Judgement
from visits.judging.catalogue import FINDINGS
from visits.judging.health import Verdicts, judge_health
from visits.judging.inferred import inferred_apply
from visits.judging.judged import Judged
from visits.judging.numbers import Numbers, numbers_of
from visits.judging.rules import findings_of
from visits.models import FiringTest, TestResult
from visits.models.results import QUANTITIES

# 2: settled by the stream, its scatter in the uncertainty; low fire corrected for a throttle move.
# 3: a CO that was not read gives no CO results, where it gave 0; what was opened before as found is said.
ENGINE_VERSION = 3


def judge(cases: Sequence[Case]) -> list[Judgement]:
    """Judge all cases together: one pass of numbers, then the rules case by case."""
    numbers = numbers_of(cases)
    inferred_apply(cases, numbers)
    verdicts, as_found, as_left = judge_health(cases, numbers)
    results = _results(numbers, verdicts)
    judgements, first = [], 0
    for index, case in enumerate(cases):
        findings = findings_of(Judged(case, first, numbers, verdicts))
        end = first + len(case.tests)
        judgements.append(
            Judgement(
                results=results[first:end],
                findings=findings,
                kept_out=_kept_out(case, findings),
                as_found=as_found[index],
                as_left=as_left[index],
            )
        )
        first = end
    return judgements


def _results(numbers: Numbers, verdicts: Verdicts) -> list[TestResult]:
    columns = {
        **{name: _nullable(numbers.state[name]) for name in QUANTITIES},
        **{f"u_{name}": _nullable(numbers.u[name]) for name in QUANTITIES},
    }
    probabilities = np.array([verdicts.p_inside.get(place, np.nan) for place in range(len(numbers.tests))])
    words = verdict(probabilities)
    results = []
    for place, (test, case) in enumerate(zip(numbers.tests, numbers.cases, strict=True)):
        band, spec = verdicts.bands.get(place), case.spec_for(test)
        results.append(
            TestResult(
                test=test,
                engine_version=ENGINE_VERSION,
                bias_run=case.period.applied_bias_run if case.period else None,
                spec_id=spec.pk if spec else None,
                verdict=_word(str(words[place])),
                p_inside=verdicts.p_inside.get(place),
                target_low_co2_pct=band.target_low if band else None,
                target_high_co2_pct=band.target_high if band else None,
                accept_low_co2_pct=band.accept_low if band else None,
                accept_high_co2_pct=band.accept_high if band else None,
                why=numbers.why[place],
                **{name: values[place] for name, values in columns.items()},
            )
        )
    return results


def _word(word: str) -> str:
    return TestResult.Verdict.NOT_JUDGED if word == "unknown" else word.replace(" ", "_")


def _nullable(values: np.ndarray) -> list[float | None]:
    return [value if value == value else None for value in values.tolist()]


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
