"""How trims of a fleet move and how well they are read: the parameters, and their estimate from the fleet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize

from analytics.drift.decomposition import Common, corrected
from analytics.drift.history import OFFSET, THROTTLE, BoolArray, FloatArray, IntArray
from analytics.drift.likelihood import log_likelihoods
from analytics.drift.panels import LEVEL_VAR, Readings
from analytics.drift.setting import Setting
from analytics.drift.slices import over_slices
from analytics.drift.steps import UNREAD, Steps
from analytics.drift.threads import in_threads
from analytics.drift.wander import START, Mixture

THROTTLE_PRIOR, OFFSET_PRIOR_PA = 0.8, 0.35
"""Usual movement per root year [%, Pa] before a fleet says otherwise. Assumed; no published source known."""
PRIOR_SD = np.array([0.5, 0.5, 0.35, 1.0])
"""Spread of the log of: both movements, the noise's factor, the visit's own noise."""
VISIT_NOISE_PRIOR = 0.15
"""Noise common to both points of one visit [%]: the day's gas and humidity."""
SAMPLE = 1_000
USUAL = np.exp(0.2 * np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0]))
"""Three-point Gauss-Hermite multiples of a usual trim's movement, and one wandering multiple."""
MULTIPLES = np.append(USUAL, 3.8)
MULTIPLE_WEIGHTS = np.array([0.97 / 6, 0.97 * 2 / 3, 0.97 / 6, 0.03])


@dataclass(frozen=True)
class Movement:
    """Parameters of the fleet. Arrays of two are throttle [%], offset [Pa].

    reference (2,): usual movement per root year.  noise_factor: true over declared noise.  visit_var: noise
    variance common to both points [%^2].  model_scale (M, 2): a model's usual movement over the fleet's.
    drift_mean, drift_sd (2,): steady drift per year between burners.  blunder_share: of readings.
    jump_share: of intervals.  setting: what trims are set to.
    """

    reference: FloatArray
    noise_factor: float
    visit_var: float
    mixture: Mixture
    model_scale: FloatArray
    drift_mean: FloatArray
    drift_sd: FloatArray
    blunder_share: float
    jump_share: float
    setting: Setting


def first_guess(models: int) -> Movement:
    """What is believed of a fleet before its readings."""
    return Movement(
        reference=np.array([THROTTLE_PRIOR, OFFSET_PRIOR_PA]),
        noise_factor=1.0,
        visit_var=0.0,
        mixture=START,
        model_scale=np.ones((models, 2)),
        drift_mean=np.zeros(2),
        drift_sd=np.full(2, 1e-3),
        blunder_share=0.002,
        jump_share=0.0005,
        setting=Setting.unknown(models),
    )


def noise_of(steps: Steps, movement: Movement) -> tuple[FloatArray, FloatArray]:
    """Variance of each reading (S, 2) and of what both points share (S,) [%^2]."""
    var = np.where(steps.read, steps.var * movement.noise_factor**2, UNREAD)
    return var, steps.shared_var + movement.visit_var


def readings_of(steps: Steps, common: Common, movement: Movement) -> Readings:
    """Readings less what is common, with noise as estimated, and wide fresh states about each stretch's
    own.
    """
    y = corrected(steps, common)
    var, shared = noise_of(steps, movement)
    read = steps.read.any(axis=1)
    usual = np.where(steps.read[:, 0], y[:, 0], y[:, 1]) * read
    count = np.bincount(steps.stretch, read, minlength=steps.stretches)
    mean = np.bincount(steps.stretch, usual, minlength=steps.stretches) / np.maximum(count, 1)
    level = np.stack([mean, steps.offset_centre_pa], axis=1)
    return Readings(
        y=y,
        var=var,
        shared_var=shared + common.step_var,
        level=level,
        level_var=np.array(LEVEL_VAR),
    )


def fit_noise(steps: Steps, common: Common, movement: Movement, chosen: IntArray) -> Movement:
    """Usual movements, noise factor and visit noise by maximum posterior over the chosen stretches."""
    centre = np.log([THROTTLE_PRIOR, OFFSET_PRIOR_PA, 1.0, VISIT_NOISE_PRIOR])
    first, second = np.meshgrid(np.arange(len(MULTIPLES)), np.arange(len(MULTIPLES)), indexing="ij")
    weight = (MULTIPLE_WEIGHTS[first] * MULTIPLE_WEIGHTS[second]).ravel()
    some, theirs, _ = only(steps, common, chosen)
    parts = over_slices(lambda at: (some.part(at.stretches, at.rows), theirs.part(at.rows)), some)

    def evidence(part: tuple[Steps, Common], trial: Movement) -> float:
        spreads = np.stack([MULTIPLES[first.ravel()], MULTIPLES[second.ravel()]], axis=1) * trial.reference
        table = log_likelihoods(part[0], readings_of(*part, trial), spreads).astype(np.float64)
        top = table.max(axis=1, keepdims=True)
        return float(np.sum(np.log(np.sum(np.exp(table - top) * weight, axis=1)) + top[:, 0]))

    def loss(log_values: FloatArray) -> float:
        values = np.exp(log_values)
        trial = replace(
            movement, reference=values[:2], noise_factor=float(values[2]), visit_var=float(values[3] ** 2)
        )
        known = sum(in_threads(lambda part: evidence(part, trial), parts))
        return -known + 0.5 * float(np.sum(((log_values - centre) / PRIOR_SD) ** 2))

    start = np.log([*movement.reference, movement.noise_factor, max(np.sqrt(movement.visit_var), 0.1)])
    simplex = np.vstack([start, start + 0.25 * np.eye(4)])
    found = minimize(
        loss,
        start,
        method="Nelder-Mead",
        options={"xatol": 0.02, "fatol": 0.5, "maxfev": 60, "initial_simplex": simplex},
    )
    best = np.exp(np.asarray(found.x, dtype=np.float64))
    return replace(movement, reference=best[:2], noise_factor=float(best[2]), visit_var=float(best[3] ** 2))


def spread_scale(steps: Steps, movement: Movement, model: IntArray) -> FloatArray:
    """Usual movement of each stretch's model over the fleet's (2, U); model is per burner."""
    return movement.model_scale[model[steps.burner]].T


def scaled_spreads(spreads: FloatArray, scale: FloatArray) -> FloatArray:
    """Spreads (G, 2) for stretches of other usual movement (2, U): (G, 2, U)."""
    return spreads[:, [THROTTLE, OFFSET], None] * scale[None]


def only(steps: Steps, common: Common, chosen: IntArray) -> tuple[Steps, Common, BoolArray]:
    """Steps of some stretches (sorted) alone, renumbered, what is common to them, and which they are (S,)."""
    is_chosen = np.zeros(steps.stretches, np.bool_)
    is_chosen[chosen] = True
    keep = is_chosen[steps.stretch]
    return steps.part(chosen, keep), common.part(keep), keep
