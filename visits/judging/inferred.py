"""A low fire read as found after the throttle had moved: what it would have shown before.

The throttle moves both points by the same ratio, so the change at high fire between its readings before and
after the move is taken off the low fire. Where the record has no such pair, high fire only is used.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from combustion.balance import co2_from_phi, o2_from_phi
from combustion.trims import throttle_change
from fleet.models import ApplianceModel, Point, TrimKind
from visits.judging.case import Case
from visits.judging.numbers import Numbers
from visits.judging.order import read_after_move, standing_moves, was_before
from visits.models import Adjustment, FiringTest, Phase

_UNTRIMMED = frozenset({ApplianceModel.RatioControl.FIXED, ApplianceModel.RatioControl.ATMOSPHERIC})


@dataclass(frozen=True)
class Shift:
    """What the move changed ln phi by, and the standard uncertainty of that."""

    ln_phi: float
    u: float


def inferred_apply(cases: Sequence[Case], numbers: Numbers) -> None:
    """Mark the tests that can be corrected, and put what they would have shown into the numbers."""
    first = 0
    for case in cases:
        for offset, test in enumerate(case.tests):
            test.inferred, test.inferred_ln_phi, test.inferred_u_ln_phi = False, None, None
            if test.moved_before is None and read_after_move(case, test):
                test.moved_before = True  # nobody said so; drift reads it from the row
            if test.withdrawn_reason or test.point != Point.LOW or not read_after_move(case, test):
                continue
            shift = _shift(case, test, numbers, first)
            if shift is not None and _corrected(case, test, numbers, first + offset, shift):
                test.inferred = True
                test.inferred_ln_phi, test.inferred_u_ln_phi = shift.ln_phi, shift.u
        first += len(case.tests)


def _shift(case: Case, low: FiringTest, numbers: Numbers, first: int) -> Shift | None:
    """From high fire before any move and high fire in the throttle's state in which low fire was read."""
    moves = list(standing_moves(case, low.burner_id))
    if case.appliance.model.ratio_control in _UNTRIMMED:
        return None
    before_low = [move for move in moves if was_before(move, low) is not False]
    if any(move.trim != TrimKind.THROTTLE for move in before_low):
        return None  # another trim moves low fire by itself
    high_before = high_after = None
    ratio = numbers.state["air_ratio"]
    for place, test in sorted(enumerate(case.tests, first), key=lambda pair: pair[1].sequence):
        if test.withdrawn_reason or test.burner_id != low.burner_id or test.point != Point.HIGH:
            continue
        if not np.isfinite(ratio[place]) or test.settled == FiringTest.Settled.NOT_SETTLED:
            continue
        if test.phase == Phase.AS_FOUND and not read_after_move(case, test):
            high_before = place if high_before is None else high_before
        elif _same_state(test, low, moves):
            high_after = place if high_after is None else high_after
    if high_before is None or high_after is None:
        return None
    own = [_own_u_ln_phi(numbers, place) for place in (high_before, high_after)]
    change, u = throttle_change(
        1.0 / ratio[high_before], 1.0 / ratio[high_after], u_ln_before=own[0], u_ln_after=own[1]
    )
    return Shift(float(change), float(u))


def _same_state(high: FiringTest, low: FiringTest, moves: Sequence[Adjustment]) -> bool:
    """No move lies between the two; of moves without a time there may be one only, before both."""
    if not moves:
        return bool(low.moved_before) and (high.phase != Phase.AS_FOUND or bool(high.moved_before))
    sides = [(was_before(move, high), was_before(move, low)) for move in moves]
    if any(None in side for side in sides):
        return len(moves) == 1 and high.phase == Phase.AS_LEFT
    return all(a == b for a, b in sides) and any(a for a, _ in sides)


def _own_u_ln_phi(numbers: Numbers, place: int) -> float:
    own = numbers.u["air_ratio"][place] * np.sqrt(1.0 - numbers.shared_share[place])
    return float(np.nan_to_num(own / numbers.state["air_ratio"][place]))


def _corrected(case: Case, test: FiringTest, numbers: Numbers, place: int, shift: Shift) -> bool:
    """Air ratio, O2 and CO2 as they would have been; CO, losses and efficiency stay those of what burned."""
    state, u = numbers.state, numbers.u
    ratio = float(state["air_ratio"][place]) * float(np.exp(shift.ln_phi))
    if not np.isfinite(ratio) or ratio < 1.0:
        return False
    fuel = case.fuel_of(test)
    phi = 1.0 / ratio
    before = float(u["co2_pct"][place])
    wider = phi * shift.u
    step = phi * 1e-4
    slopes: dict[str, Any] = {
        "co2_pct": (co2_from_phi(phi, fuel) - co2_from_phi(phi - step, fuel)) / step,
        "o2_pct": (o2_from_phi(phi, fuel) - o2_from_phi(phi - step, fuel)) / step,
        "air_ratio": ratio**2,
        "excess_air_pct": 100.0 * ratio**2,
    }
    state["co2_pct"][place], state["o2_pct"][place] = co2_from_phi(phi, fuel), o2_from_phi(phi, fuel)
    state["air_ratio"][place], state["excess_air_pct"][place] = ratio, 100.0 * (ratio - 1.0)
    for name, slope in slopes.items():
        u[name][place] = np.hypot(u[name][place], float(slope) * wider)
    after = float(u["co2_pct"][place])
    if after > 0.0:
        numbers.shared_share[place] *= before**2 / after**2
    return True
