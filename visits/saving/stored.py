"""A stored visit as an answer: the same shape as the answer to a save."""

from typing import Any

from common.canonical import unpacked
from visits.judging.case import Case
from visits.judging.engine import ENGINE_VERSION
from visits.judging.load import cases_load
from visits.judging.telling import again_answer
from visits.measured import MEASURED_FIELDS
from visits.models import Finding, FiringTest, JudgedAgain, TestResult, Visit, VisitRecord
from visits.saving.answer import answer_build
from visits.saving.document import flattened


def visit_answer(visit: Visit, record: VisitRecord | None = None) -> dict[str, Any]:
    """The current state of a visit. An imported visit has no record of its own: its rows stand for it."""
    record = record or VisitRecord.objects.filter(visit=visit, current=True).first()
    case = cases_load([visit.pk])[0]
    results = TestResult.objects.filter(test__visit=visit, engine_version=ENGINE_VERSION).select_related(
        "test__burner"
    )
    answer = answer_build(
        visit=case.visit,
        body=flattened(unpacked(record.document)) if record else _rows_as_body(case),
        case=case,
        results=list(results),
        findings=list(Finding.objects.filter(visit=visit).select_related("burner")),
    )
    again = JudgedAgain.objects.filter(visit=visit).order_by("pk")
    return {**answer, "judged_again": [again_answer(row) for row in again]}


def _rows_as_body(case: Case) -> dict[str, Any]:
    """An imported visit in the shape of a body: each test with the one reading that is its value."""
    visit = case.visit
    return {
        "appliance": str(case.appliance.uuid),
        "kind": visit.kind,
        "fuel": visit.fuel,
        "analyser": str(visit.analyser.uuid) if visit.analyser else None,
        "opened_at": visit.opened_at.isoformat(),
        "closed_at": visit.closed_at.isoformat() if visit.closed_at else None,
        "outcome": visit.outcome or None,
        "notes": visit.notes,
        "tests": [_test_as_row(test) for test in case.tests],
        "adjustments": [
            {"key": row.key, "burner": row.burner.position, "trim": row.trim, "turns": row.turns}
            for row in case.adjustments
        ],
        "temporary_changes": [],
        "plant_settings": [],
        "items": [],
        "parts": [],
    }


def _test_as_row(test: FiringTest) -> dict[str, Any]:
    values = {name: value for name in MEASURED_FIELDS if (value := getattr(test, name)) is not None}
    at = test.observed_at.isoformat() if test.observed_at else None
    return {
        "key": test.key,
        "burner": test.burner.position,
        "point": test.point,
        "phase": test.phase,
        "sequence": test.sequence,
        "co2_source": test.co2_source,
        "moved_before": test.moved_before,
        "readings": [{"at": at, **values}],
    }
