"""Judging stored visits again, with what came out differently said on each closed one."""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import numpy as np
from django.db import transaction
from django.utils import timezone

from combustion.acceptance import verdict
from visits.judging.case import Case, Judgement
from visits.judging.engine import ENGINE_VERSION, judge
from visits.judging.judged import place_name
from visits.judging.load import cases_load
from visits.judging.store import judgements_store
from visits.models import Finding, JudgedAgain, JudgeDuty, TestResult, Visit
from visits.remedies import findings_settle

VISITS_A_TRANSACTION = 200
_PHASES = ("as_found", "as_left")

Before = tuple[dict[int, TestResult], dict[int, set[tuple[str, str]]]]


def visits_judge_again(visit_ids: Sequence[int], *, cause: JudgeDuty.Cause) -> list[JudgedAgain]:
    """Judge these visits again in one transaction. Returns what is said on the closed ones that changed.

    Results and findings are renewed as by any judgement, a finding's life never; where a visit's findings
    changed, later visits end those they would have ended. Harmless when run twice: nothing changes then.
    """
    with transaction.atomic():
        # held against a save of the same visit, whose judgement would be of a newer body
        list(Visit.objects.select_for_update().filter(pk__in=visit_ids).order_by("pk").values_list("pk"))
        cases = cases_load(visit_ids)
        results, findings = _before(visit_ids)
        health = {case.visit.pk: _health(case.visit) for case in cases}
        inferred = {id(test) for case in cases for test in case.tests if test.inferred}
        judgements = judge(cases)
        judgements_store(cases, judgements, inferred_before=inferred)
        told = [
            row
            for case, judgement in zip(cases, judgements, strict=True)
            if case.visit.is_closed
            and (row := _told(case, judgement, results, findings, health[case.visit.pk], cause))
        ]
        JudgedAgain.objects.bulk_create(told)
        moved = {row.visit.appliance_id for row in told if row.changes["came"] or row.changes["went"]}
        if moved:
            findings_settle(*moved)
    return told


def _before(visit_ids: Sequence[int]) -> Before:
    """The newest stored result of each test, and each visit's holding findings by code and subject."""
    newest = {
        row.test_id: row
        for row in TestResult.objects.filter(test__visit__in=visit_ids)
        .only("test_id", "verdict", "bias_run", "engine_version")
        .order_by("engine_version")
    }
    holding: dict[int, set[tuple[str, str]]] = defaultdict(set)
    rows = Finding.objects.filter(visit__in=visit_ids, holds=True).order_by()
    for visit_id, code, subject in rows.values_list("visit_id", "code", "subject"):
        holding[visit_id].add((code, subject))
    return newest, holding


def _health(visit: Visit) -> tuple[float | None, float | None]:
    return visit.health_as_found, visit.health_as_left


def _told(
    case: Case,
    judgement: Judgement,
    results: dict[int, TestResult],
    findings: dict[int, set[tuple[str, str]]],
    health: tuple[float | None, float | None],
    cause: JudgeDuty.Cause,
) -> JudgedAgain | None:
    """What is said on the visit; None where no verdict, no word of health and no finding changed."""
    was = [results.get(test.pk) for test in case.tests]
    if case.tests and not any(was):
        return None  # nothing had been said yet
    tests = [
        {"test": test.key, "place": place_name(test), "from": str(before.verdict), "to": str(now.verdict)}
        for test, before, now in zip(case.tests, was, judgement.results, strict=True)
        if before is not None and before.verdict != now.verdict and not test.withdrawn_reason
    ]
    words = {
        phase: [before, after]
        for phase, before, after in zip(_PHASES, health, _health(case.visit), strict=True)
        if _word(before) != _word(after)
    }
    held = findings[case.visit.pk]
    holds = {(draft.code, draft.subject) for draft in judgement.findings}
    came, went = (sorted({code for code, _ in rows}) for rows in (holds - held, held - holds))
    if not (tests or words or came or went):
        return None
    period = case.period
    return JudgedAgain(
        visit=case.visit,
        at=timezone.now(),
        cause=cause,
        bias_run=period.applied_bias_run if period else None,
        bias_co2_pct=period.applied_bias_co2_pct if period else None,
        bias_u_co2_pct=period.applied_bias_u_co2_pct if period else None,
        was_bias_run=next((row.bias_run for row in was if row is not None), None),
        engine_version=ENGINE_VERSION,
        changes={"tests": tests, "health": words, "came": came, "went": went},
    )


def _word(probability: float | None) -> str:
    value: Any = verdict(np.array([np.nan if probability is None else probability]))[0]
    return str(value)
