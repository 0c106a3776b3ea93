"""The plain form of drift: each trim's state as found less as left a visit before, over the time between."""

import numpy as np
from scipy import stats

from analytics.drift.history import LOW, OFFSET, THROTTLE, History
from analytics.estimates import (
    Appliances,
    Biases,
    BoolArray,
    Estimates,
    FloatArray,
    Shifts,
    Trims,
)
from analytics.models import Reason
from combustion.trims import ln_intake_factor, state_from_high_only, state_from_points

DAYS_PER_YEAR = 365.25
_LEAST_TURNDOWN = 1.2


def differences_fit(history: History, held: list[float] | None = None) -> Estimates:
    """Drift per year with its interval, of every trim seen twice. Rows in order of burner and day."""
    found = _states(history, history.found_phi, 0)
    left = _states(history, history.left_phi, 1)
    left = np.where(np.isnan(left), found, left)
    found[history.moved_before.any(axis=1)] = np.nan
    per_trim = [
        _drift(history, found[:, trim], left[:, trim], held[trim] if held else None)
        for trim in (THROTTLE, OFFSET)
    ]
    visits, drift, low, high = (
        np.stack(pair, axis=1) for pair in zip(*(p[:4] for p in per_trim), strict=True)
    )
    last = _last_state(history, left)
    none = np.full_like(drift, np.nan)
    burners = history.burners
    return Estimates(
        trims=Trims(
            pascal=np.isfinite(history.control_pressure_pa),
            visits=visits.astype(np.int64),
            state=last,
            state_u=none,
            drift=drift,
            drift_low=low,
            drift_high=high,
            moved=none,
            usual=none,
            from_analyser=none,
            from_gas=none,
            wander_probability=none,
            flagged=np.zeros((burners, 2), np.bool_),
            reason=_reasons(history, visits, drift),
        ),
        appliances=Appliances(
            wander_probability=np.full(int(history.appliance.max(initial=-1)) + 1, np.nan),
            flagged=np.zeros(int(history.appliance.max(initial=-1)) + 1, np.bool_),
            outside_day=np.empty(0, np.int64),
            outside=np.empty((int(history.appliance.max(initial=-1)) + 1, 0)),
        ),
        biases=Biases(*(np.empty(0) for _ in range(4))),
        shifts=Shifts(*(np.empty(0) for _ in range(6))),
        learnt={"movement_var": [float(pooled) for *_, pooled in per_trim]},
    )


def _states(history: History, phi: FloatArray, phase: int) -> FloatArray:
    """Throttle [%] and offset [Pa, or 1e-3 of w] (N, 2), NaN where not read."""
    air = history.air_temp_c[:, phase]
    ln_g = ln_intake_factor(np.where(np.isnan(air), 15.0, air))
    rate = history.low_air_rate[:, phase]
    signal = history.control_pressure_pa[history.burner]
    scale = np.where(np.isfinite(signal), signal, 1e3)
    states = np.full((history.visits, 2), np.nan)
    high = np.isfinite(phi[:, 0])
    states[high, THROTTLE] = 100 * state_from_high_only(phi[high, 0], ln_g=ln_g[high]).ln_k
    with np.errstate(invalid="ignore"):
        both = high & np.isfinite(phi[:, LOW]) & (rate < 1 / _LEAST_TURNDOWN)
        both &= (phi[:, LOW] * rate) ** 2 < 0.9 * phi[:, 0] ** 2
    state = state_from_points(phi[both, 0], phi[both, LOW], 1 / rate[both], ln_g=ln_g[both])
    states[both, THROTTLE], states[both, OFFSET] = 100 * state.ln_k, state.w * scale[both]
    return states


def _drift(
    history: History, found: FloatArray, left: FloatArray, held: float | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, float]:
    """Visits, drift and the ends of its interval per burner, of one trim, and the fleet's variance a year."""
    burners = history.burners
    read = np.flatnonzero(np.isfinite(left))
    visits = np.bincount(history.burner[read], minlength=burners).astype(np.float64)
    before, after = read[:-1], read[1:]
    follows = (history.burner[before] == history.burner[after]) & np.isfinite(found[after])
    follows &= ~history.new_state[after] & (history.fuel[before] == history.fuel[after])
    before, after = before[follows], after[follows]
    years = (history.day[after] - history.day[before]) / DAYS_PER_YEAR
    change = found[after] - left[before]
    burner = history.burner[after]
    n = np.bincount(burner, minlength=burners)
    span = np.bincount(burner, years, minlength=burners)
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.bincount(burner, change, minlength=burners) / np.where(span > 0, span, np.nan)
        spread = (change - rate[burner] * years) ** 2 / np.maximum(years, 1 / DAYS_PER_YEAR)
        own = np.bincount(burner, np.nan_to_num(spread), minlength=burners)
        pooled = held if held is not None else own.sum() / max(np.maximum(n - 1, 0).sum(), 1)
        # a few degrees of freedom of the whole fleet steady what two or three visits say
        variance = (own + 4 * pooled) / (np.maximum(n - 1, 0) + 4)
        reach = stats.t.ppf(0.975, np.maximum(n - 1, 0) + 4) * np.sqrt(variance / span)
    return visits, rate, rate - reach, rate + reach, pooled


def _last_state(history: History, left: FloatArray) -> FloatArray:
    last = np.full((history.burners, 2), np.nan)
    for trim in (THROTTLE, OFFSET):
        read = np.flatnonzero(np.isfinite(left[:, trim]))
        last[history.burner[read], trim] = left[read, trim]
    return last


def _reasons(history: History, visits: FloatArray, drift: FloatArray) -> np.ndarray:
    """Why there is no drift (B, 2), empty where there is."""
    known_rate = np.zeros(history.burners, np.bool_)
    known_rate[history.burner[np.isfinite(history.low_air_rate).any(axis=1)]] = True
    any_row = np.bincount(history.burner, minlength=history.burners) > 0
    no_rate = ~known_rate & any_row
    conditions: list[BoolArray] = [
        np.isfinite(drift),
        np.broadcast_to(~any_row[:, None], drift.shape),
        np.stack([np.zeros_like(no_rate), no_rate], axis=1),
        np.stack([np.zeros_like(no_rate), visits[:, OFFSET] < 2], axis=1) & (visits[:, :1] >= 2),
        visits < 2,
    ]
    words = ["", Reason.NO_READINGS, Reason.TURNDOWN_UNKNOWN, Reason.NO_LOW_FIRE, Reason.ONE_VISIT]
    return np.select(conditions, [str(word) for word in words], str(Reason.NO_INTERVAL))
