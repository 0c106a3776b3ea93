"""Recorded moves of a model's trims, each with the change of state that the readings beside it show."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db.models import F
from django.db.models.functions import Coalesce

from analytics.reading import sources
from analytics.reading.history import LEAST_AIR_RATE
from analytics.reading.mixture import mixture_of
from analytics.turns.changes import Found, Readings, found_of, likely, offset_changed, throttle_change
from analytics.turns.hierarchy import Moves
from fleet.models import Point, TrimKind
from visits.models import Adjustment, FiringTest, Phase, Visit

SIGNS = {"clockwise": 1.0, "anticlockwise": -1.0}
UNITS = ("turn", "mark")
FOUND_TESTS = 20_000
"""Latest readings that tell how a model's burners are found."""
_NUMBERED = ("fuel", "co2_source", "visit__analyser_id", "co2_pct", "o2_pct", "co_ppm")
Key = tuple[str, str]
"""Trim and unit."""


@dataclass(frozen=True)
class _Test:
    key: str
    point: str
    at: datetime | None
    ln_phi: float
    var: float
    fuel: str
    as_found: bool


@dataclass(frozen=True)
class _Move:
    trim: str
    at: datetime | None
    amount: float | None
    unit: str
    before: str
    after: str


@dataclass(frozen=True)
class _Span:
    """One trim moved by a known amount between two readings, with the other firing point beside them."""

    burner: int
    trim: str
    unit: str
    amount: float
    turndown: float
    other_moved: bool
    before: dict[str, _Test | None]
    after: dict[str, _Test | None]


def moves_read(model_id: int) -> dict[Key, Moves]:
    """The usable moves of one model by trim and unit, in a fixed number of queries.

    Left out: moves without a direction or an amount, of trims that are neither throttle nor offset, of open
    visits, and those without a settled, plausible reading at the trim's own firing point before and after.
    """
    moves, turndowns = _adjustments(model_id)
    tests, fans = _tests(model_id)
    spans = [
        span
        for place, own in moves.items()
        for span in _spans(place[1], own, tests[place], _turndown(turndowns[place[1]], fans.get(place)))
    ]
    found = _found(model_id) if spans else {}
    return {
        (trim, unit): own
        for trim in sources.TRIMS
        for unit in UNITS
        if (own := _moves([s for s in spans if (s.trim, s.unit) == (trim, unit)], trim, found)) is not None
    }


Place = tuple[int, int]
"""Visit and burner."""


def _adjustments(model_id: int) -> tuple[dict[Place, list[_Move]], dict[int, tuple[float, float]]]:
    model = "burner__appliance__model__"
    rows = (
        Adjustment.objects.filter(
            withdrawn_reason="",
            trim__in=sources.TRIMS,
            burner__appliance__model=model_id,
            visit__in=Visit.objects.closed(),
        )
        .order_by("visit_id", F("at").asc(nulls_last=True), "id")
        .values_list(
            "visit_id", "burner_id", "trim", "at", "direction", "turns", "marks", "before_test", "after_test",
            Coalesce("burner__turndown", f"{model}turndown"),
            Coalesce("burner__fan_high_rpm", f"{model}fan_high_rpm"),
        )
    )  # fmt: skip
    moves: dict[Place, list[_Move]] = defaultdict(list)
    turndowns: dict[int, tuple[float, float]] = {}
    for visit, burner, trim, at, direction, turns, marks, before, after, turndown, fan_high in rows:
        unit, size = ("turn", turns) if turns is not None else ("mark", marks)
        sign = SIGNS.get(direction.strip().lower())
        amount = sign * size if sign is not None and size is not None and size > 0.0 else None
        moves[visit, burner].append(_Move(trim, at, amount, unit, before, after))
        turndowns[burner] = (turndown or np.nan, fan_high or np.nan)
    return moves, turndowns


def _tests(model_id: int) -> tuple[dict[Place, list[_Test]], dict[Place, float]]:
    """Standing tests at both firing points of the visits with moves; and the fan's speed at low fire."""
    moved = Adjustment.objects.filter(
        withdrawn_reason="", trim__in=sources.TRIMS, burner__appliance__model=model_id
    )
    rows = list(
        FiringTest.objects.standing()
        .filter(
            visit__in=moved.values("visit"),
            burner__appliance__model=model_id,
            kept_out="",
            point__in=[Point.HIGH, Point.LOW],
        )
        .exclude(settled=FiringTest.Settled.NOT_SETTLED)
        .order_by("visit_id", "sequence", "id")
        .values_list(
            "visit_id", "burner_id", "key", "point", "observed_at", "fan_rpm", "phase", *_NUMBERED,
        )
    )  # fmt: skip
    phi, var = _mixture(rows)
    tests: dict[Place, list[_Test]] = defaultdict(list)
    fans: dict[Place, float] = {}
    for row, ln_phi, spread in zip(rows, np.log(phi).tolist(), var.tolist(), strict=True):
        visit, burner, key, point, at, fan, phase, fuel = row[:8]
        if point == Point.LOW and fan is not None:
            fans[visit, burner] = fan
        if np.isfinite(ln_phi):
            tests[visit, burner].append(_Test(key, point, at, ln_phi, spread, fuel, phase == Phase.AS_FOUND))
    return tests, fans


def _mixture(rows: Sequence[tuple[Any, ...]]) -> tuple[Any, Any]:
    """phi and variance of its logarithm of rows that end in _NUMBERED."""
    columns: list[Any] = [column[-len(_NUMBERED) :] for column in rows]
    fuel, source, analyser, co2, o2, co = zip(*columns, strict=True) if columns else ((),) * len(_NUMBERED)
    analysers = sources.analysers_read(sorted({each for each in analyser if each is not None}))
    known = {int(each): place for place, each in enumerate(analysers["id"])}
    return mixture_of(
        {
            "fuel": np.array([sources.FUELS.index(each) for each in fuel], np.int64),
            "co2_measured": np.array([each == FiringTest.Source.MEASURED for each in source], int),
            "co2_pct": _floats(co2),
            "o2_pct": _floats(o2),
            "co_ppm": _floats(co),
        },
        analysers,
        np.array([known.get(each, -1) for each in analyser], np.int64),
    )


def _found(model_id: int) -> dict[str, Found]:
    """How the model's burners are found, by fuel, from its latest readings at both points."""
    rows = list(
        FiringTest.objects.standing()
        .filter(
            burner__appliance__model=model_id,
            phase=Phase.AS_FOUND,
            kept_out="",
            point__in=[Point.HIGH, Point.LOW],
        )
        .order_by("-id")
        .values_list("visit_id", "burner_id", "point", *_NUMBERED)[:FOUND_TESTS]
    )
    phi, _ = _mixture(rows)
    pairs: dict[str, dict[Place, list[float]]] = defaultdict(lambda: defaultdict(lambda: [np.nan, np.nan]))
    for (visit, burner, point, fuel, *_rest), ln_phi in zip(rows, np.log(phi).tolist(), strict=True):
        pairs[fuel][visit, burner][int(point == Point.LOW)] = ln_phi
    spreads = {fuel: found_of(*np.array(list(own.values()), np.float64).T) for fuel, own in pairs.items()}
    return {fuel: found for fuel, found in spreads.items() if found is not None}


def _turndown(known: tuple[float, float], fan_low_rpm: float | None) -> float:
    """Air at high over low fire: by the fan where its speed was read, else by the nameplate."""
    nameplate, fan_high_rpm = known
    rate = fan_low_rpm / fan_high_rpm if fan_low_rpm else np.nan
    return 1.0 / rate if LEAST_AIR_RATE <= rate < 1.0 else nameplate


def _spans(burner: int, moves: Sequence[_Move], tests: Sequence[_Test], turndown: float) -> Iterable[_Span]:
    """Moves of one visit's burner, those of one trim between the same two readings taken together."""
    by_key = {test.key: test for test in tests}
    groups: dict[tuple[str, str, str], list[_Move]] = defaultdict(list)
    for move in moves:
        point = Point.HIGH if move.trim == TrimKind.THROTTLE else Point.LOW
        before = by_key.get(move.before) or _last_before(tests, point, move.at)
        after = by_key.get(move.after) or _first_after(tests, point, move.at)
        if before is not None and after is not None and before.point == after.point == point:
            groups[move.trim, before.key, after.key].append(move)
    for (trim, before_key, after_key), own in groups.items():
        before, after = by_key[before_key], by_key[after_key]
        inside = [move for move in moves if _between(move, before, after)]
        units = {move.unit for move in own}
        amounts = [move.amount for move in own if move.amount is not None]
        same_trim = [move for move in inside if move.trim == trim and move not in own]
        if len(amounts) < len(own) or len(units) > 1 or same_trim or not sum(amounts):
            continue
        others = [move for move in inside if move.trim != trim]
        first = min((move.at for move in [*own, *others] if move.at), default=None)
        last = max((move.at for move in [*own, *others] if move.at), default=None)
        beside = Point.LOW if before.point == Point.HIGH else Point.HIGH
        yield _Span(
            burner=burner,
            trim=trim,
            unit=units.pop(),
            amount=sum(amounts),
            turndown=turndown,
            other_moved=bool(others),
            before={before.point: before, beside: _last_before(tests, beside, first)},
            after={after.point: after, beside: _first_after(tests, beside, last)},
        )


def _between(move: _Move, before: _Test, after: _Test) -> bool:
    """Whether the move lies between the readings; one without a time may."""
    if move.at is None or before.at is None or after.at is None:
        return True
    return before.at <= move.at <= after.at


def _last_before(tests: Sequence[_Test], point: str, at: datetime | None) -> _Test | None:
    own = [test for test in tests if test.point == point and test.at and at and test.at <= at]
    return max(own, key=lambda test: test.at or at, default=None)  # type: ignore[arg-type,return-value]


def _first_after(tests: Sequence[_Test], point: str, at: datetime | None) -> _Test | None:
    own = [test for test in tests if test.point == point and test.at and at and test.at >= at]
    return min(own, key=lambda test: test.at or at, default=None)  # type: ignore[arg-type,return-value]


def _moves(spans: Sequence[_Span], trim: str, found: Mapping[str, Found]) -> Moves | None:
    before, after = (_readings([getattr(span, phase) for span in spans]) for phase in ("before", "after"))
    before = _likely(spans, before, found)
    turndown = np.array([span.turndown for span in spans])
    other = np.array([span.other_moved for span in spans], bool)
    if trim == TrimKind.THROTTLE:
        change, u = throttle_change(before, after, turndown, offset_moved=other)
    else:
        change, u = offset_changed(before, after, turndown, throttle_moved=other)
    use = np.isfinite(change) & np.isfinite(u) & (u > 0.0)
    if not use.any():
        return None
    return Moves(
        amount=np.array([span.amount for span in spans])[use],
        change=change[use],
        u=u[use],
        burner=np.array([span.burner for span in spans])[use],
    )


def _likely(spans: Sequence[_Span], before: Readings, found: Mapping[str, Found]) -> Readings:
    """As found readings as they are likely to be right; others, and fuels seldom seen, as they are."""
    fuels = [
        {test.fuel for test in span.before.values() if test and test.as_found}
        if all(test is None or test.as_found for test in span.before.values())
        else set()
        for span in spans
    ]
    columns = [each.copy() for each in (before.ln_high, before.ln_low, before.var_high, before.var_low)]
    for fuel, spread in found.items():
        rows = np.flatnonzero([own == {fuel} for own in fuels])
        shrunk = likely(Readings(*(column[rows] for column in columns)), spread)
        for column, values in zip(
            columns, (shrunk.ln_high, shrunk.ln_low, shrunk.var_high, shrunk.var_low), strict=True
        ):
            column[rows] = values
    return Readings(*columns)


def _readings(phases: Sequence[dict[str, _Test | None]]) -> Readings:
    columns = {
        point: np.array(
            [(test.ln_phi, test.var) if (test := phase.get(point)) else (np.nan, np.nan) for phase in phases]
        ).reshape(-1, 2)
        for point in (Point.HIGH, Point.LOW)
    }
    high, low = columns[Point.HIGH], columns[Point.LOW]
    return Readings(ln_high=high[:, 0], ln_low=low[:, 0], var_high=high[:, 1], var_low=low[:, 1])


def _floats(values: Iterable[float | None]) -> Any:
    return np.array([np.nan if value is None else value for value in values], np.float64)
