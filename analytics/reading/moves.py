"""Recorded moves of a model's trims, each with the change of state that the readings beside it show."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db.models import F
from django.db.models.functions import Coalesce

from analytics.reading import sources
from analytics.reading.history import LEAST_AIR_RATE
from analytics.reading.mixture import mixture_of
from analytics.turns.changes import Readings, offset_changed, throttle_change
from analytics.turns.hierarchy import Moves
from fleet.models import Point, TrimKind
from visits.models import Adjustment, FiringTest, Visit

SIGNS = {"clockwise": 1.0, "anticlockwise": -1.0}
UNITS = ("turn", "mark")
Key = tuple[str, str]
"""Trim and unit."""


@dataclass(frozen=True)
class _Test:
    key: str
    point: str
    at: datetime | None
    ln_phi: float
    var: float


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
    return {
        (trim, unit): found
        for trim in sources.TRIMS
        for unit in UNITS
        if (found := _moves([s for s in spans if (s.trim, s.unit) == (trim, unit)], trim)) is not None
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
    numbers = ("co2_pct", "o2_pct", "co_ppm")
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
            "visit_id", "burner_id", "key", "point", "observed_at", "fan_rpm", "fuel", "co2_source",
            "visit__analyser_id", *numbers,
        )
    )  # fmt: skip
    columns: list[Any] = list(zip(*rows, strict=True)) if rows else [()] * (9 + len(numbers))
    analysers = sources.analysers_read(sorted({each for each in columns[8] if each is not None}))
    known = {int(each): place for place, each in enumerate(analysers["id"])}
    phi, var = mixture_of(
        {
            "fuel": np.array([sources.FUELS.index(fuel) for fuel in columns[6]], np.int64),
            "co2_measured": np.array([source == FiringTest.Source.MEASURED for source in columns[7]], int),
            **{name: _floats(columns[9 + place]) for place, name in enumerate(numbers)},
        },
        analysers,
        np.array([known.get(each, -1) for each in columns[8]], np.int64),
    )
    tests: dict[Place, list[_Test]] = defaultdict(list)
    fans: dict[Place, float] = {}
    for row, ln_phi, spread in zip(rows, np.log(phi).tolist(), var.tolist(), strict=True):
        visit, burner, key, point, at, fan = row[:6]
        if point == Point.LOW and fan is not None:
            fans[visit, burner] = fan
        if np.isfinite(ln_phi):
            tests[visit, burner].append(_Test(key, point, at, ln_phi, spread))
    return tests, fans


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


def _moves(spans: Sequence[_Span], trim: str) -> Moves | None:
    before, after = (_readings([getattr(span, phase) for span in spans]) for phase in ("before", "after"))
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
