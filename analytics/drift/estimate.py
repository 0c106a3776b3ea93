"""The doors of the drift statistics: a whole fleet, or one burner again with the fleet's run held fixed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.drift.decomposition import Common, CommonSpread
from analytics.drift.discoveries import flags_by_probability
from analytics.drift.fit import fit_fleet
from analytics.drift.forecast import Bands, Outlook, next_visit_day
from analytics.drift.history import BoolArray, FloatArray, History, IntArray
from analytics.drift.movement import Movement
from analytics.drift.periods import WEAK_SHARE, Columns, lonely_periods
from analytics.drift.scoring import grid, scored
from analytics.drift.steps import Steps, never_differ, steps_of
from analytics.drift.summary import Summary, summarise

EXPECTED_FALSE = 0.04
"""Expected share of false flags at the cut: two standard errors of the mean over eight fleets of 10,000 below
the 5 % that is promised."""
MOST_FALSE, MOST_FALSE_CHANCE = 0.08, 0.05
"""Share of false flags that one fleet should not pass, and the chance that it does."""

REASONS = (
    "",
    "no_readings",
    "one_visit",
    "two_visits",
    "identical_readings",
    "low_fire_not_read",
)
"""Why there is no estimate, by code; 0 means that there is one."""


@dataclass(frozen=True)
class Run:
    """What one burner's refit needs of a fleet's run. gas by area and month; cut: wander probability
    flagged.
    """

    columns: Columns
    movement: Movement
    spread: CommonSpread
    bias: FloatArray
    bias_u: FloatArray
    bias_left_var: FloatArray
    gas: FloatArray
    gas_u: FloatArray
    gas_left_var: FloatArray
    gas_area: IntArray
    gas_month: IntArray
    air_power: float
    cut: float


@dataclass(frozen=True)
class TrimEstimates:
    """Per burner and trim (B, 2): throttle [% of K], offset [Pa, or 1e-3 of w where offset_in_pa is False].

    visits (B,): visits used since the last new part.  drift, drift_low, drift_high: per year, 95 %.  moved:
    movement per root year; peers: what is usual for its model.  state, state_u: as left last, at usual gas
    and
    15 °C air, throttle as 100 ln K.  wander_probability.  flagged: the trim is responsible for its
    appliance's flag.
    jump_probability, jump_visit: of one jump instead, and the history row before which it fell (-1 none).
    analyser_part, gas_part (B,): movement per root year that the analyser and the gas explain [% of K].
    reason: index into REASONS.
    """

    visits: IntArray
    drift: FloatArray
    drift_low: FloatArray
    drift_high: FloatArray
    moved: FloatArray
    peers: FloatArray
    state: FloatArray
    state_u: FloatArray
    wander_probability: FloatArray
    flagged: BoolArray
    jump_probability: FloatArray
    jump_visit: IntArray
    analyser_part: FloatArray
    gas_part: FloatArray
    offset_in_pa: BoolArray
    reason: IntArray


@dataclass(frozen=True)
class Series:
    """Per step of the current stretches, in order: row of the history, phase, state, u (S, 2) and what was
    taken off the reading at high fire as analyser's bias and gas [%]."""

    row: IntArray
    phase: IntArray
    burner: IntArray
    state: FloatArray
    u: FloatArray
    bias_removed: FloatArray
    gas_removed: FloatArray


@dataclass(frozen=True)
class PeriodEstimates:
    """Per analyser period (P,): reading minus truth at 9 % CO2, its standard uncertainty, firing tests
    used.
    """

    bias_co2_pct: FloatArray
    u_co2_pct: FloatArray
    readings: IntArray
    weak: BoolArray
    changed_day: FloatArray


@dataclass(frozen=True)
class GasEstimates:
    """Per gas area and month seen (C,): shift of the mixture's richness [%], uncertainty, readings."""

    area: IntArray
    month: IntArray
    shift_pct: FloatArray
    u_pct: FloatArray
    readings: IntArray
    weak: BoolArray


@dataclass(frozen=True)
class FleetDrift:
    """All that the statistics say of a fleet. appliance_probability, appliance_flagged (A,)."""

    run: Run
    trims: TrimEstimates
    series: Series
    outlook: Outlook
    next_visit_day: FloatArray
    periods: PeriodEstimates
    gas: GasEstimates
    appliance_probability: FloatArray
    appliance_flagged: BoolArray


def estimate_fleet(history: History, bands: Bands | None = None) -> FleetDrift:
    """Drift and wander of a whole fleet. Raises ValueError as History.checked does."""
    history = history.checked()
    steps = steps_of(history)
    periods = int(history.period.max(initial=-1)) + 1
    fit = fit_fleet(steps, history.model, periods, never_differ(history, steps))
    steps = fit.scored.steps
    summary = summarise(history, fit.common, fit.movement, fit.scored)
    chance, flagged = _appliances(history, summary)
    cut = float(chance[flagged].min()) if flagged.any() else 1.0
    trims = _trims(history, summary, flagged)
    outlook = summary.outlook
    due = next_visit_day(outlook, bands) if bands is not None else np.full(history.burners, np.nan)
    return FleetDrift(
        run=_run(steps, fit.common, fit.columns, fit.movement, cut),
        trims=trims,
        series=_series(steps, fit.common, summary),
        outlook=outlook,
        next_visit_day=due,
        periods=_periods(steps, fit.common, fit.columns, periods),
        gas=_gas(steps, fit.common),
        appliance_probability=chance,
        appliance_flagged=flagged,
    )


@dataclass(frozen=True)
class Refit:
    """A few burners fitted again.   next_visit_day (B,): NaN where none is proposed."""

    trims: TrimEstimates
    series: Series
    outlook: Outlook
    next_visit_day: FloatArray


def refit_burners(run: Run, history: History, bands: Bands | None = None) -> Refit:
    """The burners of a small history again, the run's bias, gas and fleet parameters held fixed.

    The history's model, period, area and month numbers must be those of the run. A few milliseconds for one
    burner.
    """
    history = history.checked()
    steps = steps_of(history)
    common = common_of(run, steps)
    table = grid(steps, common, run.movement, history.model)
    score = scored(steps, common, run.movement, history.model, table)
    summary = summarise(history, common, run.movement, score)
    chance = _chances(history, summary)
    trims = _trims(history, summary, chance >= run.cut)
    due = next_visit_day(summary.outlook, bands) if bands is not None else np.full(history.burners, np.nan)
    return Refit(trims, _series(score.steps, common, summary), summary.outlook, due)


def _chances(history: History, summary: Summary) -> FloatArray:
    """Probability that at least one trim of any of an appliance's burners wanders (A,)."""
    appliances = int(history.appliance.max(initial=-1)) + 1
    calm = np.log(np.maximum(1.0 - np.nan_to_num(summary.any_wanders), 1e-15))
    return np.asarray(1.0 - np.exp(np.bincount(history.appliance, calm, minlength=appliances)))


def _appliances(history: History, summary: Summary) -> tuple[FloatArray, BoolArray]:
    chance = _chances(history, summary)
    return chance, flags_by_probability(chance, EXPECTED_FALSE, most=MOST_FALSE, chance=MOST_FALSE_CHANCE)


def _trims(history: History, summary: Summary, appliance_flagged: BoolArray) -> TrimEstimates:
    """Estimates in the caller's units, with the trims responsible marked and reasons where there is none."""
    known = np.isfinite(history.control_pressure_pa)
    unit = np.ones((history.burners, 2))
    unit[~known, 1] = 1e3 / summary.signal_pa[~known]
    no_estimate = summary.reason > 0
    probability = np.where(no_estimate, np.nan, summary.wanders)
    own = np.nan_to_num(probability)
    # the likelier trim always carries the flag; the other only where it is more likely than not
    leading = own == own.max(axis=1, keepdims=True)
    loud = np.nan_to_num(summary.any_wanders)
    top = np.zeros(len(appliance_flagged))
    np.maximum.at(top, history.appliance, loud)
    responsible = loud >= np.minimum(0.5, top[history.appliance])
    flagged = appliance_flagged[history.appliance][:, None] & responsible[:, None] & (leading | (own > 0.5))
    half = 1.96 * summary.drift_u
    return TrimEstimates(
        visits=summary.visits,
        drift=_blank(summary.drift * unit, no_estimate),
        drift_low=_blank((summary.drift - half) * unit, no_estimate),
        drift_high=_blank((summary.drift + half) * unit, no_estimate),
        moved=_blank(summary.moved * unit, no_estimate),
        peers=summary.peers * unit,
        state=summary.state * unit,
        state_u=summary.state_u * unit,
        wander_probability=probability,
        flagged=flagged & ~no_estimate,
        jump_probability=_blank(summary.jump_probability, no_estimate),
        jump_visit=summary.jump_visit,
        analyser_part=summary.analyser_part,
        gas_part=summary.gas_part,
        offset_in_pa=known,
        reason=summary.reason,
    )


def _blank(values: FloatArray, missing: BoolArray) -> FloatArray:
    return np.where(missing, np.nan, values)


def _series(steps: Steps, common: Common, summary: Summary) -> Series:
    now = steps.is_current[steps.stretch]
    return Series(
        row=steps.row[now],
        phase=steps.phase[now],
        burner=steps.burner[steps.stretch[now]],
        state=summary.step_state[now],
        u=summary.step_u[now],
        bias_removed=common.step_bias[now, 0],
        gas_removed=common.step_gas[now],
    )


def _run(steps: Steps, common: Common, columns: Columns, movement: Movement, cut: float) -> Run:
    return Run(
        columns=columns,
        movement=movement,
        spread=common.spread,
        bias=common.bias,
        bias_u=common.bias_u,
        bias_left_var=common.bias_left_var,
        gas=common.gas,
        gas_u=common.gas_u,
        gas_left_var=common.gas_left_var,
        gas_area=steps.cell_area,
        gas_month=steps.cell_month,
        air_power=common.air_power,
        cut=cut,
    )


def common_of(run: Run, steps: Steps) -> Common:
    """The run's bias and gas, looked up for other steps; what the run never saw is unknown with its prior."""
    column = run.columns.of(steps.period, steps.day)
    seen = column >= 0
    bias = np.where(seen, run.bias[column] if len(run.bias) else 0.0, 0.0)
    left = np.where(seen, run.bias_left_var[column] if len(run.bias) else 0.0, run.spread.bias_sd**2)
    gas, gas_left = _gas_of(run, steps)
    effect2 = steps.bias_effect.mean(axis=1) ** 2
    return Common(
        bias=run.bias,
        bias_u=run.bias_u,
        bias_left_var=run.bias_left_var,
        gas=run.gas,
        gas_u=run.gas_u,
        gas_left_var=run.gas_left_var,
        air_power=run.air_power,
        trend=0.0,
        spread=run.spread,
        step_bias=steps.bias_effect * bias[:, None],
        step_gas=gas,
        step_air=run.air_power * steps.air,
        step_var=effect2 * left + gas_left,
    )


def _gas_of(run: Run, steps: Steps) -> tuple[FloatArray, FloatArray]:
    """Gas shift of each step and the variance left in it; a month not seen follows from the area's last."""
    if not len(steps.cell_area) or not len(run.gas_area):
        return np.zeros(steps.count), np.full(steps.count, run.spread.gas_sd**2)
    gas = np.zeros(len(steps.cell_area))
    left = np.full(len(steps.cell_area), run.spread.gas_sd**2)
    for cell, (area, month) in enumerate(zip(steps.cell_area, steps.cell_month, strict=True)):
        earlier = np.flatnonzero((run.gas_area == area) & (run.gas_month <= month))
        if len(earlier):
            last = earlier[np.argmax(run.gas_month[earlier])]
            keep = run.spread.gas_correlation ** int(month - run.gas_month[last])
            gas[cell] = keep * run.gas[last]
            left[cell] = keep**2 * run.gas_left_var[last] + (1.0 - keep**2) * run.spread.gas_sd**2
    placed = steps.cell >= 0
    return np.where(placed, gas[steps.cell], 0.0), np.where(placed, left[steps.cell], run.spread.gas_sd**2)


def _periods(steps: Steps, common: Common, columns: Columns, periods: int) -> PeriodEstimates:
    """A period that was cut gets the mean over its tests, as does its uncertainty."""
    column = columns.of(steps.period, steps.day)
    tests = steps.read.sum(axis=1)
    used = column >= 0
    count = np.bincount(column[used], tests[used], minlength=columns.count)
    total = np.bincount(columns.period, count, minlength=periods)
    share = np.where(total[columns.period] > 0, count / np.maximum(total[columns.period], 1.0), 0.0)
    bias = np.bincount(columns.period, share * common.bias, minlength=periods)
    u = np.sqrt(np.bincount(columns.period, share * common.bias_u**2, minlength=periods))
    unseen = total == 0
    weak = lonely_periods(steps, periods) | (u > WEAK_SHARE * common.spread.bias_sd)
    return PeriodEstimates(
        bias_co2_pct=np.where(unseen, np.nan, bias),
        u_co2_pct=np.where(unseen, np.nan, u),
        readings=total.astype(np.int64),
        weak=weak | unseen,
        changed_day=np.where(np.isfinite(columns.cut_day), columns.cut_day, np.nan),
    )


def _gas(steps: Steps, common: Common) -> GasEstimates:
    placed = steps.cell >= 0
    cells = len(steps.cell_area)
    readings = np.bincount(steps.cell[placed], steps.read.sum(axis=1)[placed], minlength=cells)
    return GasEstimates(
        area=steps.cell_area,
        month=steps.cell_month,
        shift_pct=common.gas,
        u_pct=common.gas_u,
        readings=readings.astype(np.int64),
        weak=common.gas_u > WEAK_SHARE * common.spread.gas_sd,
    )


__all__ = [
    "REASONS",
    "FleetDrift",
    "GasEstimates",
    "PeriodEstimates",
    "Refit",
    "Run",
    "Series",
    "TrimEstimates",
    "estimate_fleet",
    "refit_burners",
]
