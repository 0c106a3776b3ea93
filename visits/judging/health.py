"""Combustion health of each phase, and the verdict on each firing point (design: JCGM 106).

Per burner and firing point the CO2, the working inlet pressure and the flue temperature are held against
their acceptance limits; the analyser's shared error is integrated once over the points. A low fire specified
as a difference from high fire is judged by that difference, in which the shared error cancels.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from combustion.acceptance import INSIDE_FROM, Health, best_provable, health
from combustion.arrays import nan_as_zero
from fleet.models import ApplianceModel, FiringSpec, Point
from visits.judging.accuracy import quantity_u
from visits.judging.case import Case, HealthAnswer, point_name
from visits.judging.numbers import Numbers
from visits.judging.order import moved_since, read_after_move
from visits.models import FiringTest, Phase

ACCEPTANCE_HALF_WIDTH_CO2_PCT = 0.3  # where the maker gives none: common practice, no source

_CHANNEL = {"co2_pct": 0, "inlet_pressure_mbar": 1, "flue_temp_c": 2}
_BESIDE_CO2 = ("inlet_pressure_mbar", "flue_temp_c")

BesideCo2 = Mapping[str, Sequence[tuple[float, float]]]
"""Quantity to its own and shared standard uncertainty per test."""
SINGLE_POINT = frozenset({ApplianceModel.RatioControl.FIXED, ApplianceModel.RatioControl.ATMOSPHERIC})


@dataclass(frozen=True)
class Band:
    """Limits of CO2 and the target inside them, dry vol %; from_high says that they ride on high fire."""

    accept_low: float
    accept_high: float
    target_low: float
    target_high: float
    u_reference: float = 0.0
    from_high: bool = False


@dataclass(frozen=True)
class Check:
    """One limit held against one value of one test."""

    test_place: int
    quantity: str
    value: float
    u_own: float
    u_shared: float
    lower: float
    upper: float


@dataclass
class _Group:
    """Checks that must all hold together, and whether they are all that should be checked."""

    checks: list[Check]
    whole: bool = False
    first_row: int = 0


@dataclass
class Verdicts:
    """Per test the band, the probability of CO2 inside it, and whether the band can be proved at all."""

    bands: dict[int, Band]
    p_inside: dict[int, float] = field(default_factory=dict)
    unprovable: dict[int, float] = field(default_factory=dict)


def band_of(spec: FiringSpec, high_co2_pct: float | None = None, u_high: float = 0.0) -> Band | None:
    """The CO2 band of a spec; None where it gives none, or rides on a high fire that was not read."""
    if spec.target_low_co2_pct is not None and spec.target_high_co2_pct is not None:
        low, high = spec.target_low_co2_pct, spec.target_high_co2_pct
        return Band(
            spec.accept_low_co2_pct
            if spec.accept_low_co2_pct is not None
            else low - ACCEPTANCE_HALF_WIDTH_CO2_PCT,
            spec.accept_high_co2_pct
            if spec.accept_high_co2_pct is not None
            else high + ACCEPTANCE_HALF_WIDTH_CO2_PCT,
            low,
            high,
        )
    if spec.below_high_fire_low_pct is None or spec.below_high_fire_high_pct is None or high_co2_pct is None:
        return None
    low = high_co2_pct + spec.below_high_fire_low_pct
    high = high_co2_pct + spec.below_high_fire_high_pct
    half = ACCEPTANCE_HALF_WIDTH_CO2_PCT
    return Band(low - half, high + half, low, high, u_high, from_high=True)


Standing = dict[tuple[int, str, float | None], FiringTest]


def standing_tests(case: Case, phase: str) -> Standing:
    """The test that stands for each burner and point.

    As found: the first; one read after a trim had moved only where it could be corrected for that. As left:
    the last settled one with no trim moved since, else the last, about which there is a finding; without one,
    what was read as found after the move. With no adjustment at all, what was found is what was left.
    """
    tests = [test for test in case.tests if not test.withdrawn_reason]
    found = [test for test in tests if test.phase == Phase.AS_FOUND]
    if phase == Phase.AS_FOUND:
        return _per_point(
            reversed(_in_sequence(t for t in found if t.inferred or not read_after_move(case, t)))
        )
    chosen = [test for test in tests if test.phase == phase]
    if phase == Phase.AS_LEFT:
        moved = any(not move.withdrawn_reason for move in case.adjustments)
        if not chosen and not moved:
            return standing_tests(case, Phase.AS_FOUND) | _per_point(_in_sequence(found))
        late = [t for t in found if read_after_move(case, t) and not moved_since(case, t)]
        good = [t for t in chosen if t.settled != FiringTest.Settled.NOT_SETTLED and not moved_since(case, t)]
        return _per_point([*_in_sequence(late), *_in_sequence(chosen), *_in_sequence(good)])
    return _per_point(_in_sequence(chosen))


def _in_sequence(tests: Iterable[FiringTest]) -> list[FiringTest]:
    return sorted(tests, key=lambda test: test.sequence)


def _per_point(tests: Iterable[FiringTest]) -> Standing:
    """The last of each burner and point."""
    return {(test.burner_id, test.point, test.percent): test for test in tests}


def judge_health(
    cases: Sequence[Case], numbers: Numbers
) -> tuple[Verdicts, list[HealthAnswer], list[HealthAnswer]]:
    """Verdicts of all tests, and the health of each case as found and as left."""
    place_of = {id(test): place for place, test in enumerate(numbers.tests)}
    bands = _bands(cases, numbers, place_of)
    alone = {place: _co2_check(numbers, place, band) for place, band in bands.items()}
    beside = {name: quantity_u(name, numbers.tests, numbers.cases) for name in _BESIDE_CO2}
    as_found, as_left = (
        [_phase_group(case, phase, place_of, alone, beside) for case in cases]
        for phase in (Phase.AS_FOUND, Phase.AS_LEFT)
    )
    # One integration for everything: each test on its own, then each case as found and as left.
    answer = _integrated([*(_Group([check]) for check in alone.values()), *as_found, *as_left])
    return (
        _verdicts(bands, list(alone.values()), answer),
        _answers(as_found, answer, len(alone), numbers),
        _answers(as_left, answer, len(alone) + len(cases), numbers),
    )


def _bands(cases: Sequence[Case], numbers: Numbers, place_of: dict[int, int]) -> dict[int, Band]:
    bands = {}
    for case in cases:
        for test in case.tests:
            spec = case.spec_for(test)
            if spec is None:
                continue
            high = _high_beside(case, test)
            place = place_of.get(id(high), -1)
            known = place >= 0 and np.isfinite(numbers.state["co2_pct"][place])
            band = band_of(
                spec,
                float(numbers.state["co2_pct"][place]) if known else None,
                _own_u(numbers, place) if known else 0.0,
            )
            if band is not None:
                bands[place_of[id(test)]] = band
    return bands


def _high_beside(case: Case, test: FiringTest) -> FiringTest | None:
    """The high fire that a low fire is set by: the last one read in the same phase on the same burner."""
    beside = [
        other
        for other in case.tests
        if other.point == Point.HIGH
        and other.phase == test.phase
        and other.burner_id == test.burner_id
        and not other.withdrawn_reason
    ]
    return max(beside, key=lambda other: other.sequence, default=None)


def _own_u(numbers: Numbers, place: int) -> float:
    return float(numbers.u["co2_pct"][place] * np.sqrt(1.0 - numbers.shared_share[place]))


def _co2_check(numbers: Numbers, place: int, band: Band) -> Check:
    u = float(numbers.u["co2_pct"][place])
    own, shared = _own_u(numbers, place), float(u * np.sqrt(numbers.shared_share[place]))
    if band.from_high:
        own, shared = float(np.hypot(own, band.u_reference)), 0.0
    value = float(numbers.state["co2_pct"][place])
    return Check(place, "co2_pct", value, own, shared, band.accept_low, band.accept_high)


def _integrated(groups: Sequence[_Group]) -> Health:
    """The probability of each group of checks, and of each check, in their order."""
    checks: list[Check] = []
    for group in groups:
        group.first_row = len(checks)
        checks.extend(group.checks)
    return health(
        np.repeat(np.arange(len(groups)), [len(group.checks) for group in groups]),
        np.array([_CHANNEL[check.quantity] for check in checks], dtype=np.intp),
        np.array([check.value for check in checks]),
        nan_as_zero(np.array([check.u_own for check in checks], dtype=np.float64)),
        nan_as_zero(np.array([check.u_shared for check in checks], dtype=np.float64)),
        np.array([check.lower for check in checks]),
        np.array([check.upper for check in checks]),
        visits=len(groups),
    )


def _verdicts(bands: dict[int, Band], alone: Sequence[Check], answer: Health) -> Verdicts:
    verdicts = Verdicts(bands)
    if not alone:
        return verdicts
    u = nan_as_zero(np.hypot([check.u_own for check in alone], [check.u_shared for check in alone]))
    low, high = np.array([c.lower for c in alone]), np.array([c.upper for c in alone])
    best = best_provable(u, low, high)
    for check, probability, at_best in zip(alone, answer.probability, best, strict=False):
        if np.isfinite(probability):
            verdicts.p_inside[check.test_place] = float(probability)
            if at_best < INSIDE_FROM:
                verdicts.unprovable[check.test_place] = float(at_best)
    return verdicts


def _phase_group(
    case: Case, phase: str, place_of: dict[int, int], co2: dict[int, Check], beside: BesideCo2
) -> _Group:
    """All checks of one phase of a case."""
    if not case.specs:
        return _Group([])
    standing = standing_tests(case, phase)
    group = _Group([], _covers_every_point(case, standing))
    for test in standing.values():
        place = place_of[id(test)]
        checks, complete = _checks_of(case, test, place, co2.get(place), beside)
        group.checks.extend(checks)
        group.whole = group.whole and complete
    return group


def _answers(groups: Sequence[_Group], answer: Health, first: int, numbers: Numbers) -> list[HealthAnswer]:
    """The health of each group; `first` is the place of the first of them among all that were integrated."""
    answers = []
    for index, group in enumerate(groups, first):
        if not answer.checked[index]:
            answers.append(HealthAnswer())
            continue
        weakest = group.checks[int(answer.weakest[index]) - group.first_row]
        rows = answer.row_probability[group.first_row : group.first_row + len(group.checks)]
        names = [
            _name(check, numbers)
            for check, probability in zip(group.checks, rows, strict=True)
            if np.isfinite(probability)
        ]
        answers.append(
            HealthAnswer(float(answer.probability[index]), group.whole, _name(weakest, numbers), tuple(names))
        )
    return answers


def _covers_every_point(case: Case, standing: dict[tuple[int, str, float | None], FiringTest]) -> bool:
    """Both firing points of every burner read; one where the burner has only one."""
    points = {Point.HIGH} if case.appliance.model.ratio_control in SINGLE_POINT else {Point.HIGH, Point.LOW}
    burners = set(case.burner_ids)
    return bool(burners) and all((burner, point, None) in standing for burner in burners for point in points)


def _checks_of(
    case: Case, test: FiringTest, place: int, co2: Check | None, beside: BesideCo2
) -> tuple[list[Check], bool]:
    """The checks that this test allows, and whether they are all that its spec asks for."""
    spec = case.spec_for(test)
    if spec is None:
        return [], False
    complete = co2 is not None and math.isfinite(co2.value)
    checks = [co2] if co2 is not None and complete else []
    for quantity, low, high in (
        ("inlet_pressure_mbar", spec.inlet_pressure_low_mbar, spec.inlet_pressure_high_mbar),
        ("flue_temp_c", None, spec.flue_temp_max_c),
    ):
        if low is None and high is None:
            continue
        value = getattr(test, quantity)
        if value is None:
            complete = False
            continue
        own, shared = beside[quantity][place]
        lower = -np.inf if low is None else low
        checks.append(Check(place, quantity, value, own, shared, lower, np.inf if high is None else high))
    return checks, complete


_QUANTITY_NAMES = {
    "co2_pct": "CO2",
    "inlet_pressure_mbar": "working inlet pressure",
    "flue_temp_c": "flue temperature",
}


def _name(check: Check, numbers: Numbers) -> str:
    test = numbers.tests[check.test_place]
    burner = f" of burner {test.burner.position}" if test.burner.position > 1 else ""
    return f"{_QUANTITY_NAMES[check.quantity]} at {point_name(test)}{burner}"
