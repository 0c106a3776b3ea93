"""What a burner out of tune costs in a year: gas lost at the excess air it runs at, against its target's.

Useful heat is the same in both states, so the gas lost is a share of the year's gas: 1 - η as found / η at
target, each by the flue-loss balance at both firing points, weighted by how much gas burns at each. Negative
is gas saved by running on less air than the target: a risk, not an aim.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np

from combustion.arrays import F64, refuse
from combustion.balance import o2_from_phi
from combustion.flue_gas import flue_gas_state
from combustion.fuels import Fuel
from combustion.gum import Quantity
from combustion.readings import Readings

RICHEST_PHI: Final = 0.999
"""1/air ratio up to which a loss is told: beyond, gas leaves unburnt and nothing of this holds."""
APPROACH_RESPONSE: Final = 0.7
"""Rise of ln(flue less return temperature) per ln of air ratio. Derived, docs/formulas.md, «out of tune»."""
U_APPROACH_RESPONSE: Final = 0.4
COVERAGE: Final = 0.95
_DRAWS: Final = 512
_ROWS_AT_ONCE: Final = 4096
_PLASTIC: Final = 1.32471795724474602596  # whose powers spread two coordinates most evenly


@dataclass(frozen=True)
class Firing:
    """Burners of one gas as found and as they should be; (n, 2) is high fire, then low fire.

    ln_phi, target_ln_phi (n, 2): ln of 1/air ratio [-] with analyser, gas and season taken off.
    flue_temp_c, air_temp_c, co_ppm (n, 2), dry; CO is the same in both states.   approach_k (n, 2): flue less
    return temperature.   u_own (n, 2): standard uncertainty of ln_phi [-] at each point by itself.
    u_analyser, u_gas, u_air (n, 2): the same of what both points share, signed alike.   u_flue_k (n,): of the
    year's flue temperature against the day's [K].   Limits: finite but for rows without an answer.   Source:
    docs/formulas.md, section «out of tune».
    """

    ln_phi: F64
    target_ln_phi: F64
    flue_temp_c: F64
    air_temp_c: F64
    co_ppm: F64
    approach_k: F64
    u_own: F64
    u_analyser: F64
    u_gas: F64
    u_air: F64
    u_flue_k: F64


@dataclass(frozen=True)
class LoadSplit:
    """Share of a year's gas burnt as if at low fire [-], 0 to 1, with standard uncertainties.

    u_common: of the assumption itself, one error for every burner.   u_own: how burners differ.   Shapes
    broadcast to (n,).   Limits: none checked.   Source: an assumption of whoever gives it.
    """

    low_share: F64
    u_common: F64
    u_own: F64


@dataclass(frozen=True)
class YearlyUse:
    """Gas burnt in a year (n,): gross heat [kWh], with relative standard uncertainties [-].

    u_common: one error for every burner (of an assumption).   u_own: of this burner alone.   Limits: none
    below 0.   Source: whoever gives it.
    """

    kwh: F64
    u_common: F64
    u_own: F64


@dataclass(frozen=True)
class Loss:
    """Gas lost in a year (n,), gross heat [kWh]; below 0 where gas is saved.

    low, high: ends of the 95 % interval.   parts: by input, what one standard uncertainty of it makes [kWh],
    signed: those named as another burner's are the same error.   Limits: a result.   Source: yearly_loss.
    """

    kwh: F64
    low: F64
    high: F64
    parts: dict[str, F64]


def lost_share(firing: Firing, fuel: Fuel, split: LoadSplit) -> Quantity:
    """Share of a year's gas lost against the target [-] (n,), with what each input's uncertainty makes of it.

    Parts: own_high, own_low, split_own of one burner alone; analyser, gas; air, flue, response, split of
    every burner. Each is half the difference between one standard uncertainty up and down; over the year's
    flue temperature, where the share peaks as condensing sets in, mean and spread are taken over five nodes.
    NaN where a row has no answer, or is rich.   Limits: as flue_gas_state, not raised.   Source:
    docs/formulas.md, section «out of tune».

    >>> from combustion.fuels import FUELS
    >>> dry = {"flue_temp_c": 210.0, "air_temp_c": 20.0}
    >>> certain = dict.fromkeys(("co_ppm", "approach_k", "u_own", "u_analyser", "u_gas", "u_air"), 0.0)
    >>> states = {"ln_phi": -0.37, "target_ln_phi": -0.25} | dry | certain
    >>> pairs = {name: np.full((1, 2), value) for name, value in states.items()}
    >>> firing = Firing(**pairs, u_flue_k=np.zeros(1))
    >>> share = lost_share(firing, FUELS["natural_gas"], LoadSplit(np.array(0.6), *np.full((2, 1), 0.1)))
    >>> round(float(share.value[0]), 4)
    0.0121
    """
    middle, by_flue = _over_flue(firing, fuel)
    by_phi = _by_phi(firing, fuel)
    u = U_APPROACH_RESPONSE
    by_response = 0.5 * (_shares(firing, fuel, response=u) - _shares(firing, fuel, response=-u))
    low = np.broadcast_to(split.low_share, middle.shape[:1])
    weight = np.stack([1.0 - low, low], axis=1)
    apart = middle[:, 1] - middle[:, 0]
    return Quantity(
        (weight * middle).sum(axis=1),
        {
            "own_high": weight[:, 0] * by_phi[:, 0] * firing.u_own[:, 0],
            "own_low": weight[:, 1] * by_phi[:, 1] * firing.u_own[:, 1],
            "analyser": (weight * by_phi * firing.u_analyser).sum(axis=1),
            "gas": (weight * by_phi * firing.u_gas).sum(axis=1),
            "air": (weight * by_phi * firing.u_air).sum(axis=1),
            "flue": (weight * by_flue).sum(axis=1),
            "response": (weight * by_response).sum(axis=1),
            "split": apart * split.u_common,
            "split_own": apart * split.u_own,
        },
    )


def yearly_loss(share: Quantity, use: YearlyUse) -> Loss:
    """Gas lost in a year: the share times the year's gas, [kWh].

    share: of lost_share.   The interval is that of a normal share times a log-normal use of mean use.kwh:
    skewed, and never past 0 for the use's doubt alone. Parts: own (all of one burner alone, above 0), use
    (the common error of the year's gas), and the share's analyser, gas, air, flue, response and split.
    Limits: use.kwh >= 0, else OutOfRange.   Source: docs/formulas.md, section «out of tune».

    >>> share = Quantity(np.array([0.02]), {"own_high": np.array([0.004])})
    >>> use = YearlyUse(np.array([150_000.0]), np.array([0.0]), np.array([0.3]))
    >>> loss = yearly_loss(share, use)
    >>> [round(float(v[0]), -1) for v in (loss.low, loss.kwh, loss.high)]
    [1370.0, 3000.0, 5740.0]
    """
    refuse("kwh", use.kwh, use.kwh < 0.0, "0 <= kwh")
    value, kwh = np.asarray(share.value), np.broadcast_to(use.kwh, np.shape(share.value))
    spread = np.hypot(use.u_common, use.u_own)
    low, high = _product_interval(value, share.u, spread)
    parts = {name: np.asarray(part) * kwh for name, part in share.parts.items()}
    alone = [parts.pop(name) for name in ("own_high", "own_low", "split_own") if name in parts]
    both_doubted = share.u * spread * kwh
    parts["own"] = np.sqrt(sum(part**2 for part in (*alone, value * use.u_own * kwh, both_doubted)))
    parts["use"] = value * use.u_common * kwh
    return Loss(value * kwh, low * kwh, high * kwh, parts)


def _shares(firing: Firing, fuel: Fuel, *, richer: F64 | float = 0.0, warmer_k: F64 | float = 0.0,
            response: float = 0.0) -> F64:  # fmt: skip
    """Share of the gas lost at each point (n, 2), with the inputs moved by so much."""
    found = firing.ln_phi + richer
    # more air past the same surface leaves it warmer, so the target's flue is cooler where less air is wanted
    cooler = firing.approach_k * np.expm1((APPROACH_RESPONSE + response) * (found - firing.target_ln_phi))
    flue_c = firing.flue_temp_c + warmer_k
    as_found = _efficiency(np.exp(found), flue_c, firing, fuel)
    at_target = _efficiency(np.exp(firing.target_ln_phi), flue_c + cooler, firing, fuel)
    return np.asarray(1.0 - as_found / at_target)


def _over_flue(firing: Firing, fuel: Fuel) -> tuple[F64, F64]:
    """The share at each point over the doubt in the year's flue temperature (n, 2): mean, and signed spread.

    Where condensing sets in the share peaks, so that a slope would say little of the doubt.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(5)
    weights = (weights / weights.sum())[:, None, None]
    at = np.stack([_shares(firing, fuel, warmer_k=node * firing.u_flue_k[:, None]) for node in nodes])
    mean = np.sum(weights * at, axis=0)
    spread = np.sqrt(np.sum(weights * (at - mean) ** 2, axis=0))
    return mean, np.copysign(spread, at[3] - at[1])


def _by_phi(firing: Firing, fuel: Fuel) -> F64:
    """Change of the share lost per change of ln_phi (n, 2), over all of its uncertainty."""
    step = np.sqrt(firing.u_own**2 + firing.u_analyser**2 + firing.u_gas**2 + firing.u_air**2)
    step = np.minimum(np.maximum(step, 1e-4), np.maximum(np.log(RICHEST_PHI) - firing.ln_phi, 1e-4))
    change = _shares(firing, fuel, richer=step) - _shares(firing, fuel, richer=-step)
    return np.asarray(change / (2.0 * step))


def _efficiency(phi: F64, flue_temp_c: F64, firing: Firing, fuel: Fuel) -> F64:
    """Gross combustion efficiency [%] (n, 2)."""
    known = (phi > 0.0) & (phi <= RICHEST_PHI)
    readings = Readings(
        o2_pct=o2_from_phi(np.where(known, phi, 0.5), fuel).ravel(),
        flue_temp_c=flue_temp_c.ravel(),
        air_temp_c=firing.air_temp_c.ravel(),
        co_ppm=firing.co_ppm.ravel(),
    )
    state = flue_gas_state(readings, fuel, strict=False)
    return np.where(known, state.value("efficiency_gross_pct").reshape(phi.shape), np.nan)


def _product_interval(share: F64, u_share: F64, u_use: F64) -> tuple[F64, F64]:
    """Ends of the 95 % interval of share times a use of mean 1: by even draws, the same for every row."""
    first, second = _even_draws()
    u_use = np.broadcast_to(u_use, share.shape)
    ends = np.full((2, len(share)), np.nan)
    tail = 0.5 * (1.0 - COVERAGE)
    for start in range(0, len(share), _ROWS_AT_ONCE):
        rows = slice(start, start + _ROWS_AT_ONCE)
        log_u = np.sqrt(np.log1p(u_use[rows] ** 2))[:, None]
        drawn = share[rows, None] + u_share[rows, None] * first
        drawn *= np.exp(log_u * second - 0.5 * log_u**2)
        ends[:, rows] = np.quantile(drawn, (tail, 1.0 - tail), axis=1)
    return ends[0], ends[1]


def _even_draws() -> tuple[F64, F64]:
    """Pairs of standard normal numbers that fill the plane evenly (R2 sequence)."""
    place = np.arange(1, _DRAWS + 1)
    even = [np.mod(0.5 + place / power, 1.0) for power in (_PLASTIC, _PLASTIC**2)]
    normal = NormalDist()
    first, second = (np.array([normal.inv_cdf(one) for one in column.tolist()]) for column in even)
    return first, second
