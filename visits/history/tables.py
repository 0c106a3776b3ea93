"""A chunk's visits written once, with what was judged of them: a table at a time, no row twice."""

import json
from collections.abc import Iterator, Sequence
from datetime import datetime
from operator import attrgetter
from typing import Any

from django.db import connection

from common.bulk import rows_write
from visits.history.cases import MEASURED
from visits.judging.case import Case, Judgement
from visits.judging.catalogue import FINDINGS
from visits.judging.results import RESULT_COLUMNS
from visits.judging.store import HEALTH_FIELDS, INFERRED, health_set
from visits.models import Adjustment, Finding, FiringTest, TestResult, Visit

_VISIT_COLUMNS = (
    "id", "uuid", "attendance_id", "appliance_id", "kind", "source", "technician_id", "analyser_id",
    "analyser_period_id", "fuel", "opened_at", "closed_at", "local_on", "received_at", "closed_received_at",
    "outcome", *HEALTH_FIELDS[:-1],
)  # fmt: skip
_TEST_COLUMNS = (
    "id", "visit_id", "key", "burner_id", "point", "phase", "sequence", "observed_at", "settled", "fuel",
    "co2_source", "moved_before", "kept_out", *INFERRED, *MEASURED,
)  # fmt: skip
_ADJUSTMENT_COLUMNS = (
    "visit_id", "key", "burner_id", "trim", "turns", "before_test", "after_test", "before_co2_pct",
    "after_co2_pct",
)  # fmt: skip
_FINDING_COLUMNS = (
    "visit", "appliance", "burner", "code", "subject", "severity", "value", "limit", "unit", "probability",
    "rests_on", "made_at",
)  # fmt: skip

Results = Sequence[tuple[Any, ...]]
"""Of all tests in the order of the cases, as the engine gives them plainly."""


def visits_write(
    cases: Sequence[Case], judgements: Sequence[Judgement], results: Results, now: datetime
) -> None:
    """Write visits that are not on file, their tests, adjustments, results and findings.

    A constraint that does not hold, a UUID on file among them, raises IntegrityError. The caller holds the
    transaction.
    """
    _put_on_rows(cases, judgements)
    visits = [case.visit for case in cases]
    tests = [test for case in cases for test in case.tests]
    moves = [move for case in cases for move in case.adjustments]
    rows_write(Visit, (*_VISIT_COLUMNS, HEALTH_FIELDS[-1]), _visit_rows(visits))
    rows_write(FiringTest, _TEST_COLUMNS, map(attrgetter(*_TEST_COLUMNS), tests))
    rows_write(Adjustment, _ADJUSTMENT_COLUMNS, map(attrgetter(*_ADJUSTMENT_COLUMNS), moves))
    rows_write(TestResult, ("test", *RESULT_COLUMNS), _result_rows(tests, results))
    rows_write(Finding, _FINDING_COLUMNS, _finding_rows(cases, judgements, now))
    if connection.vendor == "postgresql":
        # Foreign keys now, while the caller judges on, and not all of them at the commit that it waits for.
        connection.check_constraints()


def _put_on_rows(cases: Sequence[Case], judgements: Sequence[Judgement]) -> None:
    """What the judgement says of visits and tests."""
    for case, judgement in zip(cases, judgements, strict=True):
        health_set(case.visit, judgement.as_found, judgement.as_left)
        for test, code in zip(case.tests, judgement.kept_out, strict=True):
            test.kept_out = code


def _visit_rows(visits: Sequence[Visit]) -> Iterator[tuple[Any, ...]]:
    values_of, texts = attrgetter(*_VISIT_COLUMNS), _Texts()
    for visit in visits:
        yield (*values_of(visit), texts[tuple(visit.health_checked.items())])


def _result_rows(tests: Sequence[FiringTest], results: Results) -> Iterator[tuple[Any, ...]]:
    texts = _Texts()
    for test, (*values, why) in zip(tests, results, strict=True):
        yield (test.pk, *values, texts[tuple(why.items())])


class _Texts(dict[tuple[tuple[str, Any], ...], str]):
    """The JSON of objects given as their items: few different ones, on many rows each."""

    def __missing__(self, items: tuple[tuple[str, Any], ...]) -> str:
        text = self[items] = json.dumps(dict(items))
        return text


def _finding_rows(
    cases: Sequence[Case], judgements: Sequence[Judgement], now: datetime
) -> Iterator[tuple[Any, ...]]:
    for case, judgement in zip(cases, judgements, strict=True):
        for draft in judgement.findings:
            yield (
                case.visit.pk,
                case.visit.appliance_id,
                draft.burner.pk if draft.burner else None,
                draft.code,
                draft.subject,
                FINDINGS[draft.code].severity,
                draft.value,
                draft.limit,
                draft.unit,
                draft.probability,
                json.dumps(dict(draft.rests_on)),
                now,
            )
