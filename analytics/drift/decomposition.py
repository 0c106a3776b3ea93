"""Is it the boiler, the analyser or the gas? One least-squares fit over the whole fleet.

A throttle reading is the trim's own level (a random walk between adjustments) plus the bias of the analyser's
period, the gas of the area's month, and what is left of the season. Analysers that work in several areas, and
areas seen by several analysers, tell the two apart; the priors hold what nothing else does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from analytics.drift.history import HIGH, LOW, THROTTLE, BoolArray, FloatArray, IntArray
from analytics.drift.levels import ROW, Whitener, rows_of
from analytics.drift.slices import Slice, over_slices
from analytics.drift.solving import Multiply, conjugate_gradients, inverse_factor, solve_with_variance
from analytics.drift.steps import UNREAD, Steps
from analytics.drift.threads import in_threads

DIRECT_LIMIT = 3_000
"""Columns up to which the normal equations are solved directly, with exact uncertainties."""
DIRECT_ROUNDS = 3
TOLERANCES = (1e-2, 2e-3)
"""Of the iterative solution in its rounds: 0.2 % of a bias is far below its uncertainty."""
FACTOR_PARTS = 6
"""Slices of a large fleet from which it is found how much wider its uncertainties are than those of columns
that stand alone."""
AIR_PRIOR_SD = 0.15
"""Standard deviation of the intake temperature's power about one half."""
TREND_PRIOR_SD = 0.4
"""Of the fleet's common drift of the throttle [% a year]."""
BIAS_WEIGHT, BIAS_PRIOR_SD = 10.0, 0.15
GAS_WEIGHT, GAS_PRIOR_SD = 20.0, 0.8
"""Prior spreads [% CO2; % of ln G] and how many periods or months they weigh as much as."""


@dataclass(frozen=True)
class CommonSpread:
    """Spread of analyser bias [% CO2] and of gas [%], and the gas's correlation from month to month."""

    bias_sd: float = BIAS_PRIOR_SD
    gas_sd: float = GAS_PRIOR_SD
    gas_correlation: float = 0.7


@dataclass(frozen=True)
class Common:
    """What is common to many burners. bias, bias_u (P,) [% CO2]; gas, gas_u (C,) [%]; air_power and trend.

    bias_left_var, gas_left_var: variance left when the sum of both is taken off one reading.
    step_bias, step_gas, step_air (S, 2) and (S,): what to take off each reading [%].  step_var (S,): variance
    left in that.  air_power: power of intake temperature beyond one half.  trend: fleet's drift [% a year].
    """

    bias: FloatArray
    bias_u: FloatArray
    bias_left_var: FloatArray
    gas: FloatArray
    gas_u: FloatArray
    gas_left_var: FloatArray
    air_power: float
    trend: float
    spread: CommonSpread
    step_bias: FloatArray
    step_gas: FloatArray
    step_air: FloatArray
    step_var: FloatArray

    def part(self, rows: slice | BoolArray) -> Common:
        """The same with what is taken off some of the steps only."""
        names = ("step_bias", "step_gas", "step_air", "step_var")
        return replace(self, **{name: getattr(self, name)[rows] for name in names})


@dataclass(frozen=True)
class ThrottleView:
    """One throttle reading per step: y, var (S,) the offset held at its centre, with the bias's effect."""

    y: FloatArray
    var: FloatArray
    bias_effect: FloatArray


@dataclass(frozen=True)
class _Part:
    """One slice of the fleet as it enters the normal equations.

    target (s,): its readings.  diagonal (s,): of their inverse covariance.  right, information (columns,):
    its share of the right-hand side and of the normal matrix's approximate diagonal.
    """

    at: Slice
    design: sparse.csr_array
    whitener: Whitener
    target: FloatArray
    diagonal: FloatArray
    right: FloatArray
    information: FloatArray

    def leftover(self, solution: FloatArray) -> FloatArray:
        """Standardised (s,)."""
        error = self.whitener.apply(self.target - self.design @ solution)
        return np.asarray(error / np.sqrt(np.maximum(self.diagonal, 1e-12)))


@dataclass(frozen=True)
class _System:
    """Normal equations without their prior; gas cells from all steps. right, information (columns,)."""

    steps: Steps
    columns: int
    parts: list[_Part]
    right: FloatArray
    information: FloatArray

    def product(self, parts: list[_Part]) -> Multiply:
        """The normal matrix of some of the parts, scaled up to all, times a vector."""
        scale = self.steps.count / max(sum(len(part.target) for part in parts), 1)
        products = in_threads(lambda part: part.whitener.normal_product(part.design), parts)

        def multiply(vector: FloatArray) -> FloatArray:
            sums = in_threads(lambda product: product(vector), products)
            return np.asarray(scale * np.sum(sums, axis=0))

        return multiply


def throttle_view(steps: Steps, var: FloatArray, shared_var: FloatArray) -> ThrottleView:
    """High fire where read, else low fire with the offset's own movement (1 Pa) as noise."""
    point = np.where(steps.read[:, HIGH], HIGH, LOW)
    at = np.arange(steps.count)
    slope = steps.slope[at, point]
    y = steps.y[at, point] - slope * steps.offset_centre_pa[steps.stretch]
    noise = var[at, point] + np.where(point == LOW, slope**2, 0.0) + shared_var
    unread = ~steps.read.any(axis=1)
    return ThrottleView(
        np.where(unread, 0.0, y), np.where(unread, UNREAD, noise), steps.bias_effect[at, point]
    )


def since_reset(steps: Steps) -> FloatArray:
    """Years since the throttle last started afresh (S,)."""
    elapsed = np.cumsum(steps.years)
    at = np.maximum.accumulate(np.where(steps.reset[:, THROTTLE], np.arange(steps.count), 0))
    return elapsed - elapsed[at]


def decompose(
    steps: Steps,
    column: IntArray,
    columns: int,
    *,
    var: FloatArray,
    shared_var: FloatArray,
    walk_var: FloatArray,
    spread: CommonSpread,
    start: FloatArray | None = None,
    factor: float = 0.0,
) -> tuple[Common, FloatArray, FloatArray]:
    """Fit bias per column (a period or a part of one), gas per cell, season and trend.

    column (S,): bias column, -1 unknown.  var (S, 2), shared_var (S,): noise [%^2].  walk_var (U,) [%^2 a
    year].  factor: of the approximate uncertainties, 0 to be found.
    Returns: the common part, its solution vector, and each step's standardised leftover (S,): a large
    one tells of a blunder.
    """

    def part(at: Slice) -> _Part:
        return _part(
            steps.part(at.stretches, at.rows), at, column[at.rows], columns,
            var[at.rows], shared_var[at.rows], walk_var[at.stretches], spread,
        )  # fmt: skip

    parts = over_slices(part, steps)
    system = _System(
        steps,
        columns,
        parts,
        right=np.sum([part.right for part in parts], axis=0),
        information=np.sum([part.information for part in parts], axis=0),
    )
    solution = np.zeros(len(system.right)) if start is None else start
    if len(solution) <= DIRECT_LIMIT:
        solution, variance, spread = _solve_directly(system, solution, spread)
    else:
        solution, variance, spread = _solve_by_iteration(system, solution, spread, factor)
    common = _common(steps, column, columns, solution, variance, system.information, spread)
    leftover = in_threads(lambda part: part.leftover(solution), parts)
    return common, solution, np.concatenate(leftover)


def _part(
    steps: Steps,
    at: Slice,
    column: IntArray,
    columns: int,
    var: FloatArray,
    shared_var: FloatArray,
    walk_var: FloatArray,
    spread: CommonSpread,
) -> _Part:
    view = throttle_view(steps, var, shared_var)
    noise = view.var + _unknown_var(steps, column, view, spread)
    whitener = Whitener(steps.stretch, steps.years, steps.reset[:, THROTTLE], noise, walk_var)
    design = _design(steps, column, columns, view)
    # each stretch's own level is taken off first: the wide prior of fresh levels is centred there
    target = view.y - _stretch_means(steps, view)
    diagonal = whitener.diagonal()
    return _Part(
        at=at,
        design=design,
        whitener=whitener,
        target=target,
        diagonal=diagonal,
        right=design.T @ whitener.apply(target),
        information=_information(design, diagonal),
    )


def _solve_directly(
    system: _System, solution: FloatArray, spread: CommonSpread
) -> tuple[FloatArray, FloatArray, CommonSpread]:
    normal = np.zeros((len(solution), len(solution)))
    for part in system.parts:
        design = part.design.copy()
        design.eliminate_zeros()
        white = part.whitener.whitened(design)
        normal += (white.T @ white).toarray()
    variance = np.zeros_like(solution)
    for _ in range(DIRECT_ROUNDS):
        prior = _prior(system.steps, system.columns, spread)
        solution, variance = solve_with_variance(normal + prior, system.right)
        spread = _spread(system.steps, system.columns, solution, variance, spread)
    return solution, variance, spread


def _solve_by_iteration(
    system: _System, solution: FloatArray, spread: CommonSpread, factor: float
) -> tuple[FloatArray, FloatArray, CommonSpread]:
    """So many columns say in two rounds how far biases and gas spread."""
    product = system.product(system.parts)
    if not factor:
        some = system.parts[:: max(len(system.parts) // FACTOR_PARTS, 1)]
        factor = inverse_factor(*_with_prior(system, system.product(some), spread))
    variance = np.zeros_like(solution)
    for tolerance in TOLERANCES:
        multiply, diagonal = _with_prior(system, product, spread)
        solution = conjugate_gradients(multiply, system.right, diagonal, solution, tolerance=tolerance)
        variance = factor / diagonal
        spread = _spread(system.steps, system.columns, solution, variance, spread)
    return solution, variance, spread


def _with_prior(system: _System, product: Multiply, spread: CommonSpread) -> tuple[Multiply, FloatArray]:
    """The normal equations' product with a vector and their diagonal, the prior included."""
    prior = _prior(system.steps, system.columns, spread)

    def multiply(v: FloatArray) -> FloatArray:
        return np.asarray(product(v) + prior @ v)

    return multiply, system.information + prior.diagonal()


def _stretch_means(steps: Steps, view: ThrottleView) -> FloatArray:
    read = view.var < UNREAD
    total = np.bincount(steps.stretch, view.y * read, minlength=steps.stretches)
    count = np.bincount(steps.stretch, read, minlength=steps.stretches)
    return np.asarray((total / np.maximum(count, 1))[steps.stretch] * read)


def _unknown_var(steps: Steps, column: IntArray, view: ThrottleView, spread: CommonSpread) -> FloatArray:
    """Variance of what has no column: an analyser or a gas area that nobody wrote down."""
    bias = np.where(column < 0, (view.bias_effect * spread.bias_sd) ** 2, 0.0)
    return bias + np.where(steps.cell < 0, spread.gas_sd**2, 0.0)


def _design(steps: Steps, column: IntArray, columns: int, view: ThrottleView) -> sparse.csr_array:
    """Four entries a row, so that rows are put in order by plain indexing: bias, gas, season and trend.

    What has no column is a zero in the first.
    """
    cells = len(steps.cell_area)
    known, placed = column >= 0, steps.cell >= 0
    where = np.empty((steps.count, ROW), np.int32)
    where[:, 0], where[:, 1] = np.where(known, column, 0), np.where(placed, columns + steps.cell, 0)
    where[:, 2], where[:, 3] = columns + cells, columns + cells + 1
    values = np.stack([view.bias_effect * known, placed, steps.air, since_reset(steps)], axis=1)
    return rows_of(values, where, columns + cells + 2)


def _prior(steps: Steps, columns: int, spread: CommonSpread) -> sparse.csr_array:
    """Prior precision: independent biases, gas as a first-order autoregression along each area's months."""
    cells = len(steps.cell_area)
    same = steps.cell_area[1:] == steps.cell_area[:-1]
    gap = np.where(same, steps.cell_month[1:] - steps.cell_month[:-1], 0)
    link = np.where(same, spread.gas_correlation ** np.maximum(gap, 1), 0.0)
    tight = 1.0 / (spread.gas_sd**2 * (1.0 - link**2))
    diagonal = np.full(cells, 1.0 / spread.gas_sd**2)
    diagonal[1:] = tight
    diagonal[:-1] += link**2 * tight
    off = -link * tight
    gas = sparse.diags_array(diagonal)
    if cells > 1:
        gas = gas + sparse.diags_array(off, offsets=-1, shape=gas.shape)
        gas = gas + sparse.diags_array(off, offsets=1, shape=gas.shape)
    bias = sparse.diags_array(np.full(columns, 1.0 / spread.bias_sd**2))
    rest = sparse.diags_array(np.array([1.0 / AIR_PRIOR_SD**2, 1.0 / TREND_PRIOR_SD**2]))
    parts = [part for part in (bias, gas, rest) if part.shape[0]]
    return sparse.csr_array(sparse.block_diag(parts))


def _information(design: sparse.csr_array, diagonal: FloatArray) -> FloatArray:
    """Diagonal of the normal equations, off-diagonal terms within a burner left out."""
    squared = design.data**2 * np.repeat(diagonal, ROW)
    return np.asarray(np.bincount(design.indices, squared, minlength=design.shape[1]) + 1e-9)


def _spread(
    steps: Steps, columns: int, solution: FloatArray, variance: FloatArray, old: CommonSpread
) -> CommonSpread:
    """One step of expectation-maximisation for the prior spreads, each with a weak prior of its own."""
    cells = len(steps.cell_area)
    bias, gas = solution[:columns], solution[columns : columns + cells]
    square = bias**2 + variance[:columns]
    bias_var = (square.sum() + BIAS_WEIGHT * BIAS_PRIOR_SD**2) / (columns + BIAS_WEIGHT)
    gas_square = gas**2 + variance[columns : columns + cells]
    gas_var = (gas_square.sum() + GAS_WEIGHT * GAS_PRIOR_SD**2) / (cells + GAS_WEIGHT)
    next_door = (steps.cell_area[1:] == steps.cell_area[:-1]) & (np.diff(steps.cell_month) == 1)
    both = (gas[1:] * gas[:-1])[next_door].sum()
    # the posterior covariance of neighbours follows the prior's correlation where the data say little
    shared = np.sqrt(variance[columns + 1 : columns + cells] * variance[columns : columns + cells - 1])[
        next_door
    ]
    both += old.gas_correlation * shared.sum()
    base = gas_var * (next_door.sum() + GAS_WEIGHT)
    correlation = float(np.clip((both + 0.7 * GAS_WEIGHT * GAS_PRIOR_SD**2) / base, 0.0, 0.97))
    return CommonSpread(float(np.sqrt(bias_var)), float(np.sqrt(gas_var)), correlation)


def _common(
    steps: Steps,
    column: IntArray,
    columns: int,
    solution: FloatArray,
    variance: FloatArray,
    information: FloatArray,
    spread: CommonSpread,
) -> Common:
    cells = len(steps.cell_area)
    known, placed = column >= 0, steps.cell >= 0
    bias = np.where(known, solution[:columns][column] if columns else 0.0, 0.0)
    gas = np.where(placed, solution[columns : columns + cells][steps.cell] if cells else 0.0, 0.0)
    # bias and gas of one month are uncertain together but not in their sum: only its own scatter is left
    bias_left = np.minimum(1.0 / information[:columns], spread.bias_sd**2)
    gas_left = np.minimum(1.0 / information[columns : columns + cells], spread.gas_sd**2)
    effect2 = steps.bias_effect.mean(axis=1) ** 2
    left = np.where(known, bias_left[column] if columns else 0.0, spread.bias_sd**2)
    step_var = effect2 * left
    step_var += np.where(placed, gas_left[steps.cell] if cells else 0.0, spread.gas_sd**2)
    u = np.sqrt(variance)
    return Common(
        bias=solution[:columns],
        bias_u=u[:columns],
        bias_left_var=bias_left,
        gas=solution[columns : columns + cells],
        gas_u=u[columns : columns + cells],
        gas_left_var=gas_left,
        air_power=float(solution[-2]),
        trend=float(solution[-1]),
        spread=spread,
        step_bias=steps.bias_effect * bias[:, None],
        step_gas=gas,
        step_air=float(solution[-2]) * steps.air,
        step_var=step_var,
    )


def corrected(steps: Steps, common: Common) -> FloatArray:
    """Readings less bias, gas and what was left of the season (S, 2)."""
    off = common.step_bias + (common.step_gas + common.step_air)[:, None]
    return np.where(steps.read, steps.y - off, steps.y)
