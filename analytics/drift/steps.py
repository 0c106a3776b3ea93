"""From visits to steps: the sequence of readings and resets that the filters walk through.

A step is one phase (as found or as left) of one visit of one stretch; a stretch is a burner's life between
two
changes of part, fuel or fan limits. Units from here on: throttle in % (100 ln K), offset in Pa.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from analytics.drift.history import FOUND, HIGH, LEFT, LOW, UNKNOWN, BoolArray, FloatArray, History, IntArray
from analytics.drift.threads import in_threads
from combustion.trims import ln_intake_factor

DAYS_PER_YEAR = 365.25
PART = 20_000
"""Visits worked through at once: so few that their arrays stay in the processor's own memory."""
MOST_KEYS = 20
"""Keys of area and month, over the steps, up to which a table is made of them."""
UNREAD = 1e9
"""Variance standing for «not read»: the reading then carries no information."""
REFERENCE_SIGNAL_PA = 700.0
"""Air signal where none is known: offsets then come out as 0.7 Pa for 1e-3 of w."""
UNRECORDED_MOVE_SIGMAS = 4.0
"""As left this far from as found, with no adjustment written down, means that one was made."""
LONGEST_GAP_YEARS = 15.0
"""Nobody knows what became of a trim unseen for longer; rather, one visit's year was mistyped."""
IDENTICAL_LEAST = 4
UNKNOWN_AIR_VAR = (50.0 * 4.0 / 288.0) ** 2
"""Variance [%^2] where the intake temperature was not read: 4 K about the month's mean."""


_PER_STEP = (
    *("stretch", "row", "phase", "years", "reset", "y", "var", "slope", "shared_var", "period", "cell"),
    *("bias_effect", "air", "day"),
)
_PER_STRETCH = ("burner", "is_current", "signal_pa", "offset_centre_pa")


@dataclass(frozen=True)
class Steps:
    """S steps in order of stretch and time, U stretches.

    stretch, row, phase (S,).  years (S,): since the stretch's step before.  reset (S, 2): trim starts afresh
    before this reading.  y, var (S, 2): 100 ln phi less season, linear in the state, and its variance; UNREAD
    where not read.  slope (S, 2): effect of 1 Pa of offset on y.  shared_var (S,): variance common to both
    points.  period, cell (S,): -1 unknown.  bias_effect (S, 2): change of y per 1 % CO2 of bias at 9 % CO2.
    air (S,): 100 ln of intake temperature over the reference.
    burner, is_current (U,): a burner's last stretch is current.  signal_pa (U,).  first (U,) first step.
    """

    stretch: IntArray
    row: IntArray
    phase: IntArray
    years: FloatArray
    reset: BoolArray
    y: FloatArray
    var: FloatArray
    slope: FloatArray
    shared_var: FloatArray
    period: IntArray
    cell: IntArray
    bias_effect: FloatArray
    air: FloatArray
    day: FloatArray
    burner: IntArray
    is_current: BoolArray
    signal_pa: FloatArray
    offset_centre_pa: FloatArray
    cell_area: IntArray
    cell_month: IntArray

    @property
    def count(self) -> int:
        return len(self.stretch)

    @property
    def stretches(self) -> int:
        return len(self.burner)

    @property
    def read(self) -> BoolArray:
        return self.var < UNREAD

    def part(self, stretches: slice | IntArray, rows: slice | BoolArray) -> Steps:
        """The same of some stretches (in order) and of their steps, renumbered."""
        names = [(name, rows) for name in _PER_STEP] + [(name, stretches) for name in _PER_STRETCH]
        some = {name: getattr(self, name)[at] for name, at in names}
        number = np.zeros(self.stretches, np.int64)
        number[stretches] = np.arange(len(some["burner"]))
        return replace(self, **{**some, "stretch": number[some["stretch"]]})


def steps_of(history: History) -> Steps:
    """Steps of a checked history. Readings after a move count as as-left ones, or are left out."""
    air_c = _usual_air(history)
    bounds = _part_bounds(history)

    def part(number: int) -> Steps:
        rows = np.arange(bounds[number], bounds[number + 1])
        return _steps_of_part(history.rows(rows), air_c[rows], int(bounds[number]))

    steps = _joined(in_threads(part, range(len(bounds) - 1)))
    areas, cell = _cells(history, steps.row)
    return replace(steps, cell=cell, cell_area=areas[0], cell_month=areas[1])


def _part_bounds(history: History) -> IntArray:
    """First visits of parts of about PART visits, each of whole burners, and the number of visits."""
    starts = np.flatnonzero(np.diff(history.burner, prepend=-1))
    places = np.searchsorted(starts, np.arange(0, max(history.visits, 1), PART))
    inner = np.unique(starts[places[places < len(starts)]])
    return np.concatenate([[0], inner[inner > 0], [history.visits]])


def _joined(parts: list[Steps]) -> Steps:
    """Parts one after another, stretches numbered through; they know no cells yet."""
    if len(parts) == 1:
        return parts[0]
    before = np.cumsum([0] + [part.stretches for part in parts])
    renumbered = [
        replace(part, stretch=part.stretch + first) for part, first in zip(parts, before, strict=False)
    ]
    return Steps(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in renumbered])
            for field in fields(Steps)
        }
    )


def _steps_of_part(history: History, usual_air_c: FloatArray, first_row: int) -> Steps:
    """Steps of some burners' visits, which begin at first_row of the whole, without cells."""
    phi, var, adjusted = _phases(history)
    n = history.visits
    row = np.repeat(np.arange(n), 2)
    phase: IntArray = np.tile(np.array([FOUND, LEFT]), n)
    phi, var = phi.reshape(2 * n, 2), var.reshape(2 * n, 2)
    by_phase = np.zeros((n, 2, 2), np.bool_)
    by_phase[:, LEFT] = adjusted
    reset = by_phase.reshape(2 * n, 2)
    fresh = _fresh(history)
    burner = history.burner[row]
    starts = np.diff(burner, prepend=-1) != 0
    begins = starts | fresh.ravel()
    stretch = np.cumsum(begins) - 1
    stretch_burner = burner[begins]
    is_current = np.diff(stretch_burner, append=-1) != 0

    kept = np.isfinite(phi).any(axis=1) | reset.any(axis=1)
    row, phase, stretch = row[kept], phase[kept], stretch[kept]
    phi, var, reset = phi[kept], var[kept], reset[kept]
    day = history.day[row]
    new = np.diff(stretch, prepend=-1) != 0
    years = np.where(new, 0.0, np.diff(day, prepend=day[:1])) / DAYS_PER_YEAR
    reset = reset | new[:, None]

    air_c = history.air_temp_c[row, phase]
    known_air = np.isfinite(air_c)
    air = 200.0 * ln_intake_factor(np.where(known_air, air_c, usual_air_c[row]))
    signal = history.control_pressure_pa[stretch_burner]
    signal = np.where(np.isfinite(signal), signal, REFERENCE_SIGNAL_PA)
    rate = history.low_air_rate[row, phase]
    centre, slope, constant = _linear(phi, rate, stretch, signal)
    unread = ~np.isfinite(phi)
    unread[:, LOW] |= ~np.isfinite(rate)
    y = 100.0 * np.log(np.where(unread, 1.0, phi)) - 0.5 * air[:, None] - constant
    nowhere = np.zeros(0, np.int64)
    return Steps(
        stretch=stretch,
        row=row + first_row,
        phase=phase,
        years=years,
        reset=reset,
        y=np.where(unread, 0.0, y),
        var=np.where(unread, UNREAD, 1e4 * var),
        slope=slope,
        shared_var=np.where(known_air, 0.0, UNKNOWN_AIR_VAR),
        period=history.period[row, phase],
        cell=np.zeros(0, np.int64),
        bias_effect=_bias_effect(np.where(unread, np.nan, phi), stretch, len(signal)),
        air=air,
        day=day,
        burner=stretch_burner,
        is_current=is_current,
        signal_pa=signal,
        offset_centre_pa=centre,
        cell_area=nowhere,
        cell_month=nowhere,
    )


def _phases(history: History) -> tuple[FloatArray, FloatArray, BoolArray]:
    """phi and variance (N, phase, point), and what was adjusted, with readings after a move put where
    they belong.
    """
    found, left = history.found_phi.copy(), history.left_phi.copy()
    found_var, left_var = history.found_var, history.left_var.copy()
    moved = history.moved_before & np.isfinite(found)
    adjusted = history.adjusted.copy()
    unsaid = moved.any(axis=1) & ~adjusted.any(axis=1)
    adjusted[unsaid] = True
    take = moved & ~np.isfinite(left)
    left[take], left_var[take] = found[take], found_var[take]
    found[moved] = np.nan
    both = np.isfinite(found) & np.isfinite(left)
    apart = np.abs(np.log(np.where(both, left / np.where(both, found, 1.0), 1.0)))
    limit = UNRECORDED_MOVE_SIGMAS * np.sqrt(np.where(both, found_var + left_var, 1.0))
    adjusted[(both & (apart > limit)).any(axis=1) & ~adjusted.any(axis=1)] = True
    return np.stack([found, left], axis=1), np.stack([found_var, left_var], axis=1), adjusted


def _fresh(history: History) -> BoolArray:
    """Where a new stretch begins (N, phase): as left after a new part, as found on another fuel or after a
    gap that no trim is followed through.
    """
    fresh = np.zeros((history.visits, 2), np.bool_)
    fresh[:, LEFT] = history.new_state
    if history.visits > 1:
        other = history.fuel[1:] != history.fuel[:-1]
        long_unseen = np.diff(history.day) > LONGEST_GAP_YEARS * DAYS_PER_YEAR
        fresh[1:, FOUND] = (other | long_unseen) & (history.burner[1:] == history.burner[:-1])
    return fresh


def never_differ(history: History, steps: Steps) -> BoolArray:
    """Stretches that repeat the same values as found at IDENTICAL_LEAST visits or more (U,)."""
    found = (steps.phase == FOUND) & steps.read.any(axis=1)
    of = steps.stretch[found]
    phi = history.found_phi[steps.row[found]]
    lowest, highest = np.full((steps.stretches, 2), np.inf), np.full((steps.stretches, 2), -np.inf)
    np.minimum.at(lowest, of, np.where(np.isfinite(phi), phi, np.inf))
    np.maximum.at(highest, of, np.where(np.isfinite(phi), phi, -np.inf))
    times = np.bincount(of, minlength=steps.stretches)
    return np.asarray((highest <= lowest).all(axis=1) & (times >= IDENTICAL_LEAST))


def _usual_air(history: History) -> FloatArray:
    """Mean intake temperature of the calendar month over the fleet, for tests where it was not read (N,)."""
    season = np.where(history.month >= 0, history.month % 12, 12)
    known = np.isfinite(history.air_temp_c)
    if not known.any():
        return np.full(history.visits, 15.0)
    month = np.repeat(season[:, None], 2, axis=1)[known]
    air = history.air_temp_c[known]
    count = np.bincount(month, minlength=13)
    total = np.bincount(month, air, minlength=13)
    mean = np.where(count > 0, total / np.maximum(count, 1), air.mean())
    return np.asarray(mean[season])


def _linear(
    phi: FloatArray, rate: FloatArray, stretch: IntArray, signal: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Centre of each stretch's offset [Pa] (U,), slope of y per Pa and constant (S, 2) of the relation
    there.
    """
    m2 = 1.0 / np.where(np.isfinite(rate), np.maximum(rate, 0.02), 1.0) ** 2
    both = np.isfinite(phi).all(axis=1) & (m2 > 1.4)
    safe = np.where(both[:, None], phi, 1.0)
    ratio2 = np.clip((safe[:, LOW] / safe[:, HIGH]) ** 2, 0.3, 1.8)
    with np.errstate(divide="ignore", invalid="ignore"):
        w = np.where(both, (ratio2 - 1.0) / (m2 - np.minimum(ratio2, 0.9 * m2)), np.nan)
    centre = medians(w, stretch, len(signal))
    bound = np.full(len(signal), np.inf)
    np.minimum.at(bound, stretch, 0.5 / m2)
    centre = np.clip(np.where(np.isfinite(centre), centre, 0.0), -bound, bound)
    per_point = np.stack([np.ones_like(m2), m2], axis=1)
    inner = 1.0 + per_point * centre[stretch][:, None]
    slope = 50.0 * per_point / inner / signal[stretch][:, None]
    constant = 50.0 * np.log(inner) - slope * (centre * signal)[stretch][:, None]
    return centre * signal, slope, constant


def constants(steps: Steps, rows: IntArray) -> FloatArray:
    """What is taken off 100 ln phi at both points to make it linear in the offset (R, 2), of some steps."""
    signal, centre = steps.signal_pa[steps.stretch[rows]], steps.offset_centre_pa[steps.stretch[rows]]
    slope, signal, centre = steps.slope[rows], signal[:, None], centre[:, None]
    per = slope * signal / (50.0 - slope * centre)
    return np.asarray(50.0 * np.log1p(per * centre / signal) - slope * centre)


def medians(values: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Upper median of each group's finite values, to 1e-9 of their range; NaN where there is none."""
    known = np.isfinite(values)
    values, group = values[known], group[known]
    if not len(values):
        return np.full(groups, np.nan)
    lowest = float(values.min())
    span = 2.0 * max(float(values.max()) - lowest, 1e-12)
    # one sort of one key, several times faster than sorting by two
    key = np.sort(group + (values - lowest) / span)
    count = np.bincount(group, minlength=groups)
    middle = np.minimum(np.cumsum(count) - count + count // 2, len(key) - 1)
    return np.where(count > 0, (key[middle] - np.arange(groups)) * span + lowest, np.nan)


def _bias_effect(phi: FloatArray, stretch: IntArray, stretches: int) -> FloatArray:
    """Change of 100 ln phi per 1 % CO2 of bias (S, 2), by the short relation for methane.

    Taken at the stretch's median: from each reading's own value it would be a copy of what it has to explain.
    An analyser that is off by a constant in O2 moves ln phi over the firing range in the same shape to 1 %.
    """
    usual = np.stack([medians(phi[:, point], stretch, stretches) for point in (HIGH, LOW)], axis=1)
    usual = np.where(np.isfinite(usual), usual, 0.78)[stretch]
    c = np.clip(usual / (9.52 - np.minimum(usual, 9.0)), 0.05, 0.16)
    return np.asarray(1.0 / (c * (1.0 + c)))


def _cells(history: History, row: IntArray) -> tuple[tuple[IntArray, IntArray], IntArray]:
    """Gas area x month cells seen, as (areas, months), and each step's cell."""
    known = (history.area >= 0) & (history.month >= 0)
    first = int(history.month[known].min(initial=0)) if known.any() else 0
    span = int(history.month.max(initial=0)) - first + 1
    key = np.where(known, history.area * span + history.month - first, UNKNOWN)[row]
    if len(key) and key.max() < MOST_KEYS * len(key):
        # a table of keys is several times faster than sorting them
        seen = np.zeros(int(key.max()) + 2, np.bool_)
        seen[key + 1] = True
        seen[0] = False
        cells = np.flatnonzero(seen) - 1
        return (cells // span, cells % span + first), (np.cumsum(seen) - 1)[key + 1] * (key >= 0) - (key < 0)
    values, inverse = np.unique(key, return_inverse=True)
    missing = int(len(values) > 0 and values[0] == UNKNOWN)
    cells = values[missing:]
    return (cells // span, cells % span + first), inverse.astype(np.int64) - missing
