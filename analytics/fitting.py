"""The one door to the statistics: what was read goes in, what is stored comes out."""

from datetime import date, timedelta
from typing import Any

import numpy as np

from analytics.bands import bands_of
from analytics.drift.estimate import REASONS, TrimEstimates, estimate_fleet, refit_burners
from analytics.drift.forecast import Bands, Outlook, probability_outside
from analytics.estimates import EPOCH, Appliances, Biases, Estimates, FloatArray, IntArray, Shifts, Trims
from analytics.keeping import Kept, kept_of
from analytics.reading import FleetHistory

JUMP_FROM = 0.5
"""Probability from which a jump is written down."""
HORIZON_DAYS = (0, 183, 365)
"""How far ahead the probability of being outside the acceptance band is told, from the day of the run."""


def fleet_fit(read: FleetHistory, *, as_of: date) -> tuple[Estimates, Kept]:
    """Fit the whole fleet. Returns what is stored, and what a refit of one appliance needs of it."""
    bands = bands_of(read)
    drift = estimate_fleet(read.history, bands)
    estimates = Estimates(
        trims=_trims(read, drift.trims),
        appliances=Appliances(
            wander_probability=np.where(
                _any_estimate(read, drift.trims), drift.appliance_probability, np.nan
            ),
            flagged=drift.appliance_flagged,
            next_visit_day=_soonest(read, drift.next_visit_day),
            outside_day=_horizon(as_of),
            outside=_outside(read, drift.outlook, bands, as_of),
        ),
        biases=Biases(
            bias=drift.periods.bias_co2_pct,
            u=drift.periods.u_co2_pct,
            readings=drift.periods.readings,
            weak=drift.periods.weak,
        ),
        shifts=Shifts(
            area=drift.gas.area,
            month=drift.gas.month,
            shift=drift.gas.shift_pct,
            u=drift.gas.u_pct,
            readings=drift.gas.readings,
            weak=drift.gas.weak,
        ),
    )
    return estimates, kept_of(read, drift.run)


def appliances_fit(read: FleetHistory, kept: Kept, *, as_of: date) -> tuple[Trims, Appliances]:
    """Fit some appliances, read with the numbers of the kept run, whose bias, gas and figures are held."""
    bands = bands_of(read)
    fit = refit_burners(kept.run, read.history, bands)
    trims = fit.trims
    probability = np.nan_to_num(trims.wander_probability)
    calm = np.ones(len(read.appliance_ids))
    np.multiply.at(calm, read.history.appliance, (1.0 - probability).prod(axis=1))
    flagged = np.zeros(len(calm), np.bool_)
    flagged[read.history.appliance[trims.flagged.any(axis=1)]] = True
    return _trims(read, trims), Appliances(
        wander_probability=np.where(_any_estimate(read, trims), 1.0 - calm, np.nan),
        flagged=flagged,
        next_visit_day=_soonest(read, fit.next_visit_day),
        outside_day=_horizon(as_of),
        outside=_outside(read, fit.outlook, bands, as_of),
    )


def _trims(read: FleetHistory, trims: TrimEstimates) -> Trims:
    throttle_only = np.full(len(read.burner_id), np.nan)
    has_drift = np.isfinite(trims.drift)
    words = np.array(REASONS)[trims.reason]
    return Trims(
        pascal=trims.offset_in_pa,
        visits=np.repeat(trims.visits[:, None], 2, axis=1),
        state=trims.state,
        state_u=trims.state_u,
        drift=trims.drift,
        drift_low=trims.drift_low,
        drift_high=trims.drift_high,
        moved=trims.moved,
        usual=np.where(has_drift, trims.peers, np.nan),
        from_analyser=np.stack([trims.analyser_part, throttle_only], axis=1),
        from_gas=np.stack([trims.gas_part, throttle_only], axis=1),
        wander_probability=trims.wander_probability,
        flagged=trims.flagged,
        reason=np.where(has_drift, "", np.where(words == "", "no_interval", words)),
        change_points=_jumps(read, trims),
    )


def _jumps(read: FleetHistory, trims: TrimEstimates) -> dict[tuple[int, int], list[list[Any]]]:
    """(burner, trim) to the day of the first visit after a likely jump and its probability."""
    likely = (trims.jump_visit >= 0) & (np.nan_to_num(trims.jump_probability) >= JUMP_FROM)
    day = read.history.checked().day
    return {
        (burner, trim): [
            [
                (EPOCH + timedelta(days=int(day[trims.jump_visit[burner, trim]]))).isoformat(),
                round(float(trims.jump_probability[burner, trim]), 4),
            ]
        ]
        for burner, trim in np.argwhere(likely).tolist()
    }


def _any_estimate(read: FleetHistory, trims: TrimEstimates) -> np.ndarray:
    known = np.zeros(len(read.appliance_ids), np.bool_)
    known[read.history.appliance[np.isfinite(trims.wander_probability).any(axis=1)]] = True
    return known


def _soonest(read: FleetHistory, day: FloatArray) -> FloatArray:
    """The soonest day of an appliance's burners, NaN where none is proposed (A,)."""
    soonest = np.full(len(read.appliance_ids), np.inf)
    np.minimum.at(soonest, read.history.appliance, np.where(np.isnan(day), np.inf, day))
    return np.where(np.isinf(soonest), np.nan, soonest)


def _horizon(as_of: date) -> IntArray:
    return (as_of - EPOCH).days + np.array(HORIZON_DAYS)


def _outside(read: FleetHistory, outlook: Outlook, bands: Bands, as_of: date) -> FloatArray:
    """Probability that any burner of an appliance is outside its band, at each day of the horizon (A, H)."""
    days = _horizon(as_of)
    inside = np.ones((len(read.appliance_ids), len(days)))
    known = np.zeros(len(read.appliance_ids), np.bool_)
    for place, day in enumerate(days.tolist()):
        outside = probability_outside(outlook, bands, np.maximum(day - outlook.last_day, 0.0))
        np.multiply.at(inside[:, place], read.history.appliance, 1.0 - np.nan_to_num(outside))
        known[read.history.appliance[np.isfinite(outside)]] = True
    return np.where(known[:, None], 1.0 - inside, np.nan)
