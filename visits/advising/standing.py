"""Which readings of a visit stand for a burner now, and which of them may be relied on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.models import Point
from visits.judging.case import Case
from visits.judging.catalogue import FINDINGS
from visits.models import Adjustment, Finding, FiringTest, TestResult

CO_CODES = frozenset(
    {"co_investigate", "co_over_maker", "co_over_range", "co_make_safe", "rich", "ambient_co_investigate"}
)
_ALSO_SUSPECT = frozenset(
    {
        "not_settled",
        "moved_too_soon",
        "probe_out",
        "forced_rate_ran_out",
        "rate_not_proved",
        "fuel_line_off",
        "calibration_lapsed",
    }
)
"""Beside every finding that keeps a reading out of drift. Those of the order of work say nothing of the
reading itself."""
_ORDER_OF_WORK = frozenset({"read_after_move", "moved_after_as_left"})
NO_RESPONSE_CO2_PCT = 0.05
"""A settled reading that moved less than this, as told, did not follow. Assumed, no source."""
FORESEEN_CO2_PCT = 0.1
"""A move from which less was foreseen than this may well show nothing. Assumed, no source."""


@dataclass(frozen=True)
class Standing:
    """One burner's newest readings at high and low fire, None where never read.

    high_stale, low_stale: a trim of the burner moved since that reading.   moves: of the burner, in order.
    """

    high: FiringTest | None
    low: FiringTest | None
    high_stale: bool
    low_stale: bool
    moves: Sequence[Adjustment]


def standing_of(case: Case, burner_id: int) -> Standing:
    """The newest reading at each point, whatever its phase; withdrawn rows left out."""
    tests = [row for row in case.tests if row.burner_id == burner_id and not row.withdrawn_reason]
    moves = [row for row in case.adjustments if row.burner_id == burner_id and not row.withdrawn_reason]
    moves.sort(key=lambda row: (row.at is not None, row.at.timestamp() if row.at else 0.0))
    newest = {
        point: max(
            (row for row in tests if row.point == point),
            key=lambda row: (row.sequence, row.observed_at.timestamp() if row.observed_at else 0.0),
            default=None,
        )
        for point in (Point.HIGH, Point.LOW)
    }
    high, low = newest[Point.HIGH], newest[Point.LOW]
    places = {row.key: row.sequence for row in tests}
    return Standing(high, low, _stale(high, moves, places), _stale(low, moves, places), moves)


def _stale(test: FiringTest | None, moves: Sequence[Adjustment], places: Mapping[str, int]) -> bool:
    return test is not None and any(_moved_since(test, move, places) for move in moves)


def _moved_since(test: FiringTest, move: Adjustment, places: Mapping[str, int]) -> bool:
    """By the clock; a move without a time by the readings that it names, and their places in the visit."""
    if move.after_test == test.key:
        return False
    if move.at is not None and test.observed_at is not None:
        return move.at > test.observed_at
    return move.before_test == test.key or places.get(move.after_test, -1) > test.sequence


def suspect_subjects(findings: Sequence[Finding]) -> frozenset[str]:
    """Subjects of findings that say a reading cannot be relied on; the empty one stands for all."""
    return frozenset(row.subject for row in findings if _suspect(row.code))


def _suspect(code: str) -> bool:
    if code in _ORDER_OF_WORK:
        return False
    return code in _ALSO_SUSPECT or FINDINGS[code].keeps_out_of_drift


def co_is_high(case: Case, findings: Sequence[Finding]) -> bool:
    """Whether a CO finding stands that no newer reading of CO at that burner and point has answered."""
    by_key = {f"test:{test.key}": test for test in case.tests}
    high = {row.subject for row in findings if row.code in CO_CODES}
    return any(not (found and _read_again(case, found, high)) for found in (by_key.get(key) for key in high))


def _read_again(case: Case, test: FiringTest, high: set[str]) -> bool:
    """A later settled reading of CO at the same place, itself without a CO finding."""
    return any(
        later.sequence > test.sequence
        and (later.burner_id, later.point, later.percent) == (test.burner_id, test.point, test.percent)
        and not later.withdrawn_reason
        and later.co_ppm is not None
        and later.settled in (FiringTest.Settled.STATED, FiringTest.Settled.STREAMED)
        and f"test:{later.key}" not in high
        for later in case.tests
    )


def silent_moves(
    case: Case, standing: Standing, trim: str, results: Mapping[str, TestResult], per_unit_co2: float | None
) -> int:
    """How many of the trim's last moves, in a row, changed nothing to be seen, or went the wrong way.

    Counted are moves with a direction and readings of one point before and after.   per_unit_co2: roughly
    what a clockwise unit does to CO2 [vol %], None unknown; a move too small to be seen is passed over.
    """
    on_file = case.trims.get(trim)
    silent = 0
    for move in reversed([row for row in standing.moves if row.trim == trim]):
        change = _change(move, results)
        if change is None or move.direction not in ("clockwise", "anticlockwise"):
            continue
        amount = move.turns if move.turns is not None else move.marks
        if per_unit_co2 and amount and abs(amount * per_unit_co2) < FORESEEN_CO2_PCT:
            continue
        if on_file is not None and on_file.lowers_co2:
            followed = -change if move.direction == on_file.lowers_co2 else change
        else:
            followed = abs(change)
        if followed >= NO_RESPONSE_CO2_PCT:
            break
        silent += 1
    return silent


def _change(move: Adjustment, results: Mapping[str, TestResult]) -> float | None:
    """Change of CO2 over a move, as judged, between two readings of one point."""
    before, after = results.get(move.before_test), results.get(move.after_test)
    if before is None or after is None or before.test.point != after.test.point:
        return None
    if before.co2_pct is None or after.co2_pct is None:
        return None
    return after.co2_pct - before.co2_pct
