"""What a save is answered with: the visit as it now stands, judged."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from visits.advice import advice_for
from visits.judging.case import Case
from visits.judging.catalogue import FINDINGS, MAKE_SAFE_STEPS, sentence
from visits.models import Finding, FiringTest, Severity, TemporaryChange, TestResult, Visit
from visits.models.results import QUANTITIES

CAUTION = (
    "Advice only. Follow the maker's instructions, local codes and licensed practice. "
    "Nothing here declares an appliance safe."
)
# Until flue and return temperature are steady.
INDICATIVE = tuple(name for name in QUANTITIES if name.startswith("efficiency") or name == "condensed_pct")
_SEVERITY_ORDER = {severity: place for place, severity in enumerate(Severity.values)}


def answer_build(
    *,
    visit: Visit,
    body: Mapping[str, Any],
    case: Case,
    results: Sequence[TestResult],
    findings: Sequence[Finding],
) -> dict[str, Any]:
    """The body as merged, with revision, results, findings, health, what is not put back, and advice."""
    standing = sorted(
        (row for row in findings if row.holds), key=lambda row: _SEVERITY_ORDER[Severity(row.severity)]
    )
    make_safe = any(row.severity == Severity.MAKE_SAFE for row in standing)
    return {
        **({"make_safe": str(MAKE_SAFE_STEPS)} if make_safe else {}),
        **body,
        "uuid": str(visit.uuid),
        "attendance": str(visit.attendance.uuid),
        "revision": visit.revision,
        "closed": visit.is_closed,
        "uncountersigned": visit.uncountersigned,
        "received_at": visit.received_at.isoformat() if visit.received_at else None,
        "findings": [finding_answer(row) for row in standing],
        "advice": advice_for(case, results, standing),
        "not_put_back": [change_answer(row) for row in case.changes if _still_changed(row)],
        "health": health_answer(visit),
        "results": {
            result.test.key: result_answer(result) for result in results if not result.test.withdrawn_reason
        },
        "caution": CAUTION,
    }


def finding_answer(row: Finding) -> dict[str, Any]:
    """One finding: what it says, what it rests on, and what to do."""
    kind = FINDINGS[row.code]
    return {
        "code": row.code,
        "subject": row.subject,
        "severity": str(row.severity),
        "title": str(kind.title),
        "sentence": sentence(row),
        "what_to_do": str(kind.what_to_do),
        "value": row.value,
        "limit": row.limit,
        "unit": row.unit,
        "probability": row.probability,
        "rests_on": row.rests_on,
    }


def change_answer(row: TemporaryChange) -> dict[str, Any]:
    """One temporary change that was not put back."""
    return {"key": row.key, "what": row.what, "was": row.was, "set_to": row.set_to, "reason": row.reason}


def _still_changed(row: TemporaryChange) -> bool:
    return row.put_back_at is None and not row.withdrawn_reason


def result_answer(result: TestResult) -> dict[str, Any]:
    """One test's quantities, each with its standard uncertainty or why there is none; and the verdict."""
    quantities = {name: quantity_answer(result, name) for name in QUANTITIES}
    return {
        **quantities,
        "settled": result.test.settled,
        "settled_why": result.test.settled_why,
        "settle_to_go_s": result.test.settle_to_go_s,
        "window": [_instant(at) for at in (result.test.window_from_at, result.test.observed_at)],
        "thermally_steady": result.test.thermally_steady,
        "indicative": indicative_of(result.test),
        "inferred": result.test.inferred,
        "verdict": result.verdict,
        "p_inside": result.p_inside,
        "target_co2_pct": _pair(result.target_low_co2_pct, result.target_high_co2_pct),
        "acceptance_co2_pct": _pair(result.accept_low_co2_pct, result.accept_high_co2_pct),
        "engine_version": result.engine_version,
        "bias_run": result.bias_run,
    }


def indicative_of(test: FiringTest) -> list[str]:
    """The quantities of a test that are indicative only: its stream did not show the boiler steady."""
    return [] if test.thermally_steady else list(INDICATIVE)


def quantity_answer(result: TestResult, name: str) -> dict[str, Any]:
    """A quantity with its standard uncertainty, or the code of why there is none."""
    value = getattr(result, name)
    if value is None:
        return {"value": None, "u": None, "why": result.why.get(name, "not_computable")}
    return {"value": value, "u": getattr(result, f"u_{name}")}


def _instant(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone(UTC).isoformat()


def _pair(low: float | None, high: float | None) -> list[float] | None:
    return None if low is None or high is None else [low, high]


def health_answer(visit: Visit) -> dict[str, Mapping[str, Any]]:
    """Combustion health of both phases: the probability of being inside every limit that was checked."""
    return {
        phase: {
            "probability": getattr(visit, f"health_{phase}"),
            "full": getattr(visit, f"health_{phase}_full"),
            "weakest": getattr(visit, f"health_{phase}_weakest"),
            "checked": visit.health_checked.get(phase, []),
        }
        for phase in ("as_found", "as_left")
    }
