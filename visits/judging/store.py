"""Write judgements beside the record: results replaced, findings renewed without touching their life."""

from collections.abc import Container, Iterable, Sequence

from django.db import transaction
from django.utils import timezone

from common.upsert import rewrite, upsert
from visits.judging.case import Case, Draft, HealthAnswer, Judgement
from visits.judging.catalogue import FINDINGS
from visits.judging.engine import judge
from visits.judging.load import cases_load
from visits.models import Finding, FiringTest, TestResult, Visit

HEALTH_FIELDS = (
    "health_as_found",
    "health_as_found_full",
    "health_as_found_weakest",
    "health_as_left",
    "health_as_left_full",
    "health_as_left_weakest",
    "health_checked",
)
_RENEWED = ("burner", "severity", "value", "limit", "unit", "probability", "rests_on", "holds")
INFERRED = ("inferred", "inferred_ln_phi", "inferred_u_ln_phi")
VISITS_AT_ONCE = 500


def judge_visits(visit_ids: Sequence[int]) -> None:
    """Judge stored visits again, or for the first time. Harmless when run twice."""
    for start in range(0, len(visit_ids), VISITS_AT_ONCE):
        cases = cases_load(visit_ids[start : start + VISITS_AT_ONCE])
        inferred = {id(test) for case in cases for test in case.tests if test.inferred}
        with transaction.atomic():
            judgements_store(cases, judge(cases), inferred_before=inferred)


def judgements_store(
    cases: Sequence[Case], judgements: Sequence[Judgement], *, inferred_before: Container[int] = ()
) -> None:
    """Write the judgements of stored visits and their stored tests.

    inferred_before: identities of the tests that were marked as inferred before they were judged.
    """
    moved: list[FiringTest] = []
    for case, judgement in zip(cases, judgements, strict=True):
        health_set(case.visit, judgement.as_found, judgement.as_left)
        for test, code in zip(case.tests, judgement.kept_out, strict=True):
            if test.kept_out != code or test.inferred or id(test) in inferred_before:
                test.kept_out = code
                moved.append(test)
    rewrite((case.visit for case in cases), model=Visit, fields=HEALTH_FIELDS)
    rewrite(moved, model=FiringTest, fields=["kept_out", *INFERRED])
    results_store(result for judgement in judgements for result in judgement.results)
    findings_store(cases, judgements)


def health_set(visit: Visit, as_found: HealthAnswer, as_left: HealthAnswer) -> None:
    """Put the health of both phases on the visit, unsaved."""
    visit.health_as_found = as_found.probability
    visit.health_as_found_full = as_found.full
    visit.health_as_found_weakest = as_found.weakest
    visit.health_as_left = as_left.probability
    visit.health_as_left_full = as_left.full
    visit.health_as_left_weakest = as_left.weakest
    visit.health_checked = {"as_found": as_found.checked, "as_left": as_left.checked}


def results_store(results: Iterable[TestResult]) -> None:
    """One row per test and engine version: written, or replaced."""
    upsert(results, model=TestResult, identity=["test", "engine_version"])


def findings_store(cases: Sequence[Case], judgements: Sequence[Judgement]) -> list[Finding]:
    """Renew what each finding says, add new ones, and let those that no longer hold be withdrawn.

    Returns the findings of all cases as they now stand, withdrawn ones with `holds` false. Two queries.
    """
    known = {
        (row.visit_id, row.code, row.subject): row
        for row in Finding.objects.filter(visit__in=[case.visit.pk for case in cases])
    }
    standing: list[Finding] = []
    for case, judgement in zip(cases, judgements, strict=True):
        for draft in judgement.findings:
            held = known.pop((case.visit.pk, draft.code, draft.subject), None)
            standing.append(_renewed(held or Finding(visit=case.visit, code=draft.code), case, draft))
    withdrawn = list(known.values())
    for row in withdrawn:
        row.holds = False
    findings_write([*standing, *withdrawn])
    return [*standing, *withdrawn]


def findings_write(rows: Sequence[Finding]) -> None:
    """Insert or renew findings by their identity; their life is never written here."""
    upsert(rows, model=Finding, identity=["visit", "code", "subject"], renew=_RENEWED)


def finding_build(case: Case, draft: Draft) -> Finding:
    """A finding not stored yet."""
    return _renewed(Finding(visit=case.visit, code=draft.code), case, draft)


def _renewed(row: Finding, case: Case, draft: Draft) -> Finding:
    row.appliance = case.appliance
    row.burner = draft.burner
    row.subject = draft.subject
    row.severity = FINDINGS[draft.code].severity
    row.value, row.limit, row.unit, row.probability = draft.value, draft.limit, draft.unit, draft.probability
    row.rests_on = dict(draft.rests_on)
    row.holds = True
    row.made_at = row.made_at or timezone.now()
    return row
