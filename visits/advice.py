"""Advice at the burner: first whether to leave it, then what to look at, then which trim and which way.

Never with CO high (too much air makes CO as too little does), never on readings that cannot be trusted, never
inside acceptance (moving a trim there chases noise), never for a trim that the person may not move.
"""

from collections.abc import Sequence
from typing import Any

from fleet.models import ApplianceModel, ModelTrim, Point
from visits.judging.case import Case
from visits.judging.health import standing_tests
from visits.models import Finding, FiringTest, Phase, Severity, TestResult

INSIDE_FROM = 0.5
_CO_CODES = frozenset({"co_investigate", "co_over_maker", "co_over_range", "co_make_safe", "rich"})
_SUSPECT = frozenset(
    {
        "not_settled",
        "o2_above_ambient",
        "o2_negative",
        "co2_negative",
        "co2_above_max",
        "inconsistent_o2_co2",
        "fuel_line_off",
        "other_fuel",
        "calibration_lapsed",
    }
)


def advice_for(
    case: Case, results: Sequence[TestResult], findings: Sequence[Finding]
) -> list[dict[str, Any]]:
    """One piece of advice per burner, or one for all where something comes first."""
    if any(row.severity == Severity.MAKE_SAFE for row in findings):
        return [_advice("make_safe_first", "Make safe and leave it off; no trim is advised.")]
    if any(row.code in _CO_CODES for row in findings):
        return [_advice("investigate_first", "CO is high: find the cause first. No direction is advised.")]
    if case.appliance.model.ratio_control != ApplianceModel.RatioControl.PNEUMATIC_PREMIX:
        return [_advice("not_given", "Trim advice is given for pneumatic premix burners only.")]
    result_of = {result.test.key: result for result in results}
    suspect = {row.subject for row in findings if row.code in _SUSPECT}
    return [_burner_advice(case, burner, result_of, suspect) for burner in case.burner_ids]


def _burner_advice(
    case: Case, burner_id: int, result_of: dict[str, TestResult], suspect: set[str]
) -> dict[str, Any]:
    latest = _latest(case, burner_id)
    position = next((test.burner.position for test in latest.values()), None)
    high, low = latest.get(Point.HIGH), latest.get(Point.LOW)
    for test in (high, low):
        if test is None:
            point = "high" if test is high else "low"
            return _advice("read_first", f"Read {point} fire before any trim moves.", burner=position)
        if "" in suspect or f"test:{test.key}" in suspect:
            return _advice(
                "not_trusted",
                f"The reading at {test.get_point_display()} cannot be trusted yet.",
                burner=position,
            )
    assert high is not None  # noqa: S101 - returned above otherwise
    assert low is not None  # noqa: S101
    for test, trim in ((high, "throttle"), (low, "offset")):
        result = result_of[test.key]
        if result.p_inside is None:
            return _advice("no_target", "There is no target on file to set to.", burner=position)
        if result.p_inside < INSIDE_FROM:
            return _unmovable(case, trim, position) or _move(result, trim, position)
    return _advice("leave_it", "Inside acceptance: leave the trims alone.", burner=position)


def _latest(case: Case, burner_id: int) -> dict[str, FiringTest]:
    """The newest standing test at each point: as left where there is one, else working, else as found."""
    latest: dict[str, FiringTest] = {
        point: test
        for (burner, point, _), test in standing_tests(case, Phase.AS_FOUND).items()
        if burner == burner_id
    }
    for test in sorted(case.tests, key=lambda row: row.sequence):
        if test.burner_id == burner_id and not test.withdrawn_reason:
            latest[test.point] = test
    return latest


def _unmovable(case: Case, trim: str, position: int | None) -> dict[str, Any] | None:
    """Why no move of this trim is advised: the model has none on file, or it is not for the field."""
    on_file = case.trims.get(trim)
    mover = on_file.mover if on_file else None
    if mover is None:
        text = f"No {trim} is on file for this model; follow the maker's instructions."
    elif mover == ModelTrim.Mover.SEALED:
        text = f"The {trim} is sealed: nobody moves it in the field. Ask the maker."
    elif mover == ModelTrim.Mover.MAKER_TRAINED:
        text = f"The {trim} is moved by people trained by the maker only."
    else:
        return None
    return _advice("not_for_the_field", text, burner=position, trim=trim)


def _move(result: TestResult, trim: str, position: int | None) -> dict[str, Any]:
    assert result.co2_pct is not None  # noqa: S101 - a probability was computed from it
    assert result.target_low_co2_pct is not None  # noqa: S101
    assert result.target_high_co2_pct is not None  # noqa: S101
    aim = (result.target_low_co2_pct + result.target_high_co2_pct) / 2
    way = "lower" if result.co2_pct > aim else "raise"
    return _advice(
        "move_trim",
        f"Check inlet pressure and gas rate first. Then move the {trim} to {way} CO2 towards {aim:.1f} %, "
        "one small step, wait, and read again.",
        burner=position,
        trim=trim,
        co2=way,
        aim_co2_pct=aim,
    )


def _advice(code: str, text: str, *, burner: int | None = None, **more: Any) -> dict[str, Any]:
    return {"code": code, "text": text, "burner": burner, **more}
