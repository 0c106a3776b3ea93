"""Advice at the burner: first whether to leave it, then what to look at, then which trim, which way, how far.

Never with CO high (too much air makes CO as too little does), never on readings that cannot be trusted, never
inside acceptance (moving a trim there chases noise), never for a trim that the person may not move.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from combustion.analyser import OWN_SHARE
from fleet.models import ApplianceModel, ModelTrim, TrimKind, TurnSensitivity
from visits.advising.moving import Effect, Now, Plan, plan_move
from visits.advising.season import season_note
from visits.advising.standing import Standing, co_is_high, silent_moves, standing_of, suspect_subjects
from visits.advising.words import move_text, supply_text
from visits.judging.case import Case
from visits.models import Finding, FiringTest, Severity, TestResult

INSIDE_FROM = 0.5
SILENT_MOVES = 2
GAS_RATE_SHARE = 0.10
"""A gas rate further than this from the rated input is looked at first. Common practice, no source."""
_OPPOSITE = {"clockwise": "anticlockwise", "anticlockwise": "clockwise"}


@dataclass(frozen=True)
class _Burner:
    """One burner of the case with what was found about it."""

    case: Case
    position: int | None
    standing: Standing
    result_of: dict[str, TestResult]
    suspect: frozenset[str]
    findings: Sequence[Finding]

    def result(self, test: FiringTest) -> TestResult:
        return self.result_of[test.key]


def advice_for(
    case: Case, results: Sequence[TestResult], findings: Sequence[Finding]
) -> list[dict[str, Any]]:
    """One piece of advice per burner, or one for all where something comes first."""
    if any(row.severity == Severity.MAKE_SAFE for row in findings):
        return [_advice("make_safe_first", "Make safe and leave it off; no trim is advised.")]
    if co_is_high(case, findings):
        return [_advice("investigate_first", "CO is high: find the cause first. No direction is advised.")]
    if case.appliance.model.ratio_control != ApplianceModel.RatioControl.PNEUMATIC_PREMIX:
        return [_advice("not_given", "Trim advice is given for pneumatic premix burners only.")]
    result_of = {result.test.key: result for result in results}
    suspect = suspect_subjects(findings)
    advice = []
    for burner_id in case.burner_ids:
        standing = standing_of(case, burner_id)
        read = standing.high or standing.low
        position = read.burner.position if read else None
        advice.append(_of_burner(_Burner(case, position, standing, result_of, suspect, findings)))
    return advice


def _of_burner(burner: _Burner) -> dict[str, Any]:
    high, low = burner.standing.high, burner.standing.low
    if high is None or low is None:
        point = "high" if high is None else "low"
        return _said(burner, "read_first", f"Read {point} fire before any trim moves.")
    for test in (high, low):
        if "" in burner.suspect or f"test:{test.key}" in burner.suspect:
            point = test.get_point_display()
            return _said(burner, "not_trusted", f"The reading at {point} cannot be trusted yet.")
    for test, stale, trim in (
        (high, burner.standing.high_stale, TrimKind.THROTTLE),
        (low, burner.standing.low_stale, TrimKind.OFFSET),
    ):
        result = burner.result(test)
        if stale:
            point = test.get_point_display()
            return _said(
                burner, "read_again", f"A trim has moved since {point} was read: wait, then read it again."
            )
        if result.p_inside is None:
            return _said(burner, "no_target", "There is no target on file to set to.")
        if result.p_inside < INSIDE_FROM and _outside(result):
            return _outside_advice(burner, test, result, trim)
    return {**_said(burner, "leave_it", "Inside acceptance: leave the trims alone."), **_seasons(burner)}


def _outside(result: TestResult) -> bool:
    """The value itself lies outside: a coarse analyser alone is no reason to move anything."""
    co2, low, high = result.co2_pct, result.accept_low_co2_pct, result.accept_high_co2_pct
    return co2 is not None and low is not None and high is not None and not low <= co2 <= high


def _outside_advice(burner: _Burner, test: FiringTest, result: TestResult, trim: str) -> dict[str, Any]:
    """What comes first when a point is outside: the trim's owner, the supply, no response, then the move."""
    on_file = burner.case.trims.get(trim)
    if on_file is None or on_file.mover != ModelTrim.Mover.FIELD:
        return _said(burner, "not_for_the_field", _unmovable(trim, on_file), trim=trim)
    if supply := _pressure_outside(burner) or _gas_rate_outside(burner):
        return supply
    sensitivity = _sensitivity(on_file)
    silent = silent_moves(
        burner.case, burner.standing, trim, burner.result_of, _co2_per_unit(burner, trim, sensitivity)
    )
    if silent >= SILENT_MOVES:
        return _said(
            burner,
            "no_response",
            f"Two moves of the {trim} and CO2 did not follow: stop moving it. Look for inlet pressure, a "
            "blockage, the gas valve, the flue and the air path; follow the maker's instructions.",
            trim=trim,
        )
    return _move(burner, test, result, on_file, sensitivity)


def _unmovable(trim: str, on_file: ModelTrim | None) -> str:
    """Why no move of this trim is advised: the model has none on file, or it is not for the field."""
    if on_file is None:
        return f"No {trim} is on file for this model; follow the maker's instructions."
    if on_file.mover == ModelTrim.Mover.SEALED:
        return f"The {trim} is sealed: nobody moves it in the field. Ask the maker."
    return f"The {trim} is moved by people trained by the maker only."


def _pressure_outside(burner: _Burner) -> dict[str, Any] | None:
    tests = {f"test:{test.key}" for test in (burner.standing.high, burner.standing.low) if test}
    for row in burner.findings:
        if row.code == "inlet_pressure_outside" and row.subject in tests:
            assert row.value is not None  # noqa: S101 - the finding is made of both
            assert row.limit is not None  # noqa: S101
            return _supply(burner, "pressure_first", row.value, row.limit, row.unit)
    return None


def _gas_rate_outside(burner: _Burner) -> dict[str, Any] | None:
    """A clocked rate at high fire that is far from the burner's share of the rated input."""
    high, case = burner.standing.high, burner.case
    rated = case.appliance.input_gross_kw
    if high is None or high.gas_rate_m3_h is None or not rated:
        return None
    input_kw = high.gas_rate_m3_h * case.fuel_of(high).properties("15/15").gross_mj_m3 / 3.6
    rated /= max(len(case.burner_ids), 1)
    if abs(input_kw / rated - 1.0) <= GAS_RATE_SHARE:
        return None
    return _supply(burner, "gas_rate_first", input_kw, rated, "kW")


def _sensitivity(trim: ModelTrim) -> TurnSensitivity | None:
    """What is learnt of the trim; nothing was where there is no row."""
    return getattr(trim, "sensitivity", None)


def _effect(trim: ModelTrim, known: TurnSensitivity | None) -> tuple[Effect | None, float | None]:
    """The effect that an amount may be named by, and the most one move may be in its unit."""
    if known is None:
        return None, trim.max_step_turns
    step = trim.max_step_turns if known.unit == TurnSensitivity.Unit.TURN else trim.max_step_marks
    clockwise_lowers = {"clockwise": True, "anticlockwise": False}.get(trim.lowers_co2)
    if known.way_only or (clockwise_lowers is not None and clockwise_lowers != (known.effect < 0.0)):
        return None, step
    return Effect(known.effect, known.u_one_burner, known.scatter), step


def _co2_per_unit(burner: _Burner, trim: str, known: TurnSensitivity | None) -> float | None:
    """Roughly what one unit does to CO2 at the trim's own point, vol %."""
    test = burner.standing.high if trim == TrimKind.THROTTLE else burner.standing.low
    if known is None or test is None:
        return None
    m = _turndown(burner)
    share = known.effect if trim == TrimKind.THROTTLE else 0.5 * known.effect * (m or 1.0) ** 2
    return share * (burner.result(test).co2_pct or 0.0)


def _turndown(burner: _Burner) -> float | None:
    """Air at high over low fire: by the fan where both speeds are known, else by the nameplate."""
    low = burner.standing.low
    if low is None:
        return None
    row, model = low.burner, burner.case.appliance.model
    fan_high = row.fan_high_rpm or model.fan_high_rpm
    if fan_high and low.fan_rpm and 0.02 <= low.fan_rpm / fan_high <= 0.8:
        return fan_high / low.fan_rpm
    return row.turndown or model.turndown


def _move(
    burner: _Burner,
    test: FiringTest,
    result: TestResult,
    on_file: ModelTrim,
    known: TurnSensitivity | None,
) -> dict[str, Any]:
    assert result.co2_pct is not None  # noqa: S101 - a probability was computed from it
    assert result.target_low_co2_pct is not None  # noqa: S101
    assert result.target_high_co2_pct is not None  # noqa: S101
    aim = (result.target_low_co2_pct + result.target_high_co2_pct) / 2
    way = "lower" if result.co2_pct > aim else "raise"
    effect, step = _effect(on_file, known)
    plan = _plan(burner, on_file.kind, aim, effect, step)
    against = known is not None and known.why_way_only == "against_file"
    turn = (on_file.lowers_co2 if way == "lower" else _OPPOSITE.get(on_file.lowers_co2)) or None
    other = "low" if on_file.kind == TrimKind.THROTTLE else "high"
    member = {
        "trim": str(on_file.kind),
        "co2": way,
        "aim_co2_pct": aim,
        "turn": None if against else turn,
        "tool": on_file.tool,
        "where": on_file.location,
        "amount": _rounded(plan.amount),
        "amount_low": _rounded(plan.low),
        "amount_high": _rounded(plan.high),
        "unit": str(known.unit) if known else "turn",
        "step_limit": step,
        "expected_co2_pct": _rounded(plan.expected_co2_pct),
        "expected_low": _rounded(plan.expected_low),
        "expected_high": _rounded(plan.expected_high),
        "other_point": {"point": other, "expected_co2_pct": _rounded(plan.other_co2_pct)},
        "evidence": {
            "moves": known.moves if known else 0,
            "burners": known.burners if known else 0,
            "way_only": plan.amount is None,
            "why": _why(known, plan),
        },
    }
    text = move_text(on_file.kind, way, aim, plan, member)
    after = result.co2_pct if plan.expected_co2_pct is None else plan.expected_co2_pct
    season = season_note(burner.case, test, result, after if plan.amount is not None else aim)
    return _said(burner, "move_trim", text, **member, season=season)


def _plan(burner: _Burner, trim: str, aim_co2_pct: float, effect: Effect | None, step: float | None) -> Plan:
    high, low = burner.standing.high, burner.standing.low
    assert high is not None  # noqa: S101 - nothing is planned before both points were read
    assert low is not None  # noqa: S101
    high_result, low_result = burner.result(high), burner.result(low)
    own = high_result if trim == TrimKind.THROTTLE else low_result
    if high_result.co2_pct is None:
        return Plan()
    now = Now(
        fuel=burner.case.fuel_of(high),
        high_co2_pct=high_result.co2_pct,
        low_co2_pct=None if burner.standing.low_stale else low_result.co2_pct,
        u_own_co2_pct=OWN_SHARE * (own.u_co2_pct or 0.0),
        turndown=_turndown(burner),
    )
    return plan_move(trim, now, aim_co2_pct, effect, step)


def _why(known: TurnSensitivity | None, plan: Plan) -> str:
    """Why the way only: the row's reason, or that nothing was recorded or the numbers are not enough."""
    if plan.amount is not None:
        return ""
    if known is None:
        return "no_moves"
    return known.why_way_only or "not_told"


def _seasons(burner: _Burner) -> dict[str, Any]:
    notes = []
    for test in (burner.standing.high, burner.standing.low):
        if test is not None:
            result = burner.result(test)
            notes += season_note(burner.case, test, result, result.co2_pct)
    return {"season": notes}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _said(burner: _Burner, code: str, text: str, **more: Any) -> dict[str, Any]:
    return _advice(code, text, burner=burner.position, **more)


def _supply(burner: _Burner, code: str, value: float, limit: float, unit: str) -> dict[str, Any]:
    text = supply_text(code, value, limit, unit)
    return _said(burner, code, text, value=value, limit=limit, unit=unit)


def _advice(code: str, text: str, *, burner: int | None = None, **more: Any) -> dict[str, Any]:
    return {"code": code, "text": text, "burner": burner, **more}
