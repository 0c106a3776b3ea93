"""Burners that drift, are read, adjusted and read again: pure arrays, no Django, no clock.

The relation of docs/drift.md («the trims»): ln phi = ln K + ln G + 1/2 ln(1 + w / r^2). Arrays are burners ×
visits; firing points are 0 high, 1 low, 2 part rate; phases are 0 as found, 1 as left. CO2 is dry, vol %.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from combustion.balance import co2_from_phi, phi_from_co2
from combustion.fuels import FUELS
from combustion.trims import phi_at, state_from_points

F64 = NDArray[np.float64]
Bool = NDArray[np.bool_]
Int = NDArray[np.int64]

FUEL_SLUGS = ("natural_gas", "propane")
PART_RATE = 0.6
PHI_LIMITS = (0.30, 0.985)
SET_NOISE_CO2_PCT = 0.05
"""How near the target a technician leaves a point, before the reading's own noise."""
ADJUSTS_INSIDE = 0.12
"""Share of technicians' readings inside acceptance but off target that are adjusted all the same."""
READS_AGAIN = 0.35
"""Share of visits without a move whose as left is read again after cleaning."""
START_SPREAD_LN_K = 0.010
START_SPREAD_PA = 0.5


@dataclass
class Burners:
    """One row per burner. Bands are CO2; `low_relative` rows count low fire from the high fire read."""

    fuel: Int
    """Position in FUEL_SLUGS."""
    has_low: Bool
    turndown: F64
    signal_pa: F64
    movable: Bool
    """(n, 2): throttle, offset."""
    high_band: F64
    """(n, 5): accept low, target low, target middle, target high, accept high."""
    low_band: F64
    low_relative: Bool
    ln_k: F64
    offset_pa: F64
    drift_ln_k: F64
    """Per year."""
    drift_pa: F64
    spread_ln_k: F64
    """Per square root of a year."""
    spread_pa: F64

    def __len__(self) -> int:
        return len(self.fuel)


@dataclass
class Grid:
    """When each burner was seen, by whom with what. Shape (n, v); `present` false is padding."""

    present: Bool
    year: F64
    reads: Bool
    may_adjust: Bool
    ln_g: F64
    """Gas and air of the day."""
    bias_co2_pct: F64
    """Of the analyser's period, at 9 % CO2."""
    upset_ln: F64

    @classmethod
    def empty(cls, burners: int, visits: int) -> Grid:
        """All padding."""
        kinds = {"present": bool, "reads": bool, "may_adjust": bool}
        return cls(**{f.name: np.zeros((burners, visits), kinds.get(f.name, float)) for f in fields(cls)})


@dataclass
class History:
    """What happened. phi is the truth, co2_read what the analyser showed; (n, v, phase, point)."""

    phi: F64
    co2_read: F64
    left_read: Bool
    moved_ln_k: F64
    """(n, v): change of ln K by the technician, zero for none."""
    moved_pa: F64
    state: F64
    """(n, v, phase, 2): ln K and offset in Pa."""


def simulate(burners: Burners, grid: Grid, noise_co2_pct: float, draw: np.random.Generator) -> History:
    """Live every burner through its visits, in order of time.

    noise_co2_pct: standard deviation of one reading.   Returns: History, NaN where nothing was read.
    """
    shape = grid.present.shape
    history = History(
        phi=np.full((*shape, 2, 3), np.nan),
        co2_read=np.full((*shape, 2, 3), np.nan),
        left_read=np.zeros(shape, bool),
        moved_ln_k=np.zeros(shape),
        moved_pa=np.zeros(shape),
        state=np.full((*shape, 2, 2), np.nan),
    )
    ln_k, pa, before = burners.ln_k.copy(), burners.offset_pa.copy(), np.full(len(burners), np.nan)
    for visit in range(shape[1]):
        here = grid.present[:, visit]
        years = np.where(here & ~np.isnan(before), grid.year[:, visit] - before, 0.0)
        ln_k += burners.drift_ln_k * years + burners.spread_ln_k * np.sqrt(years) * _normal(draw, years)
        pa += burners.drift_pa * years + burners.spread_pa * np.sqrt(years) * _normal(draw, years)
        before = np.where(here, grid.year[:, visit], before)
        ln_k, pa = _attend(burners, grid, history, visit, ln_k, pa, noise_co2_pct, draw)
    return history


def _attend(
    burners: Burners,
    grid: Grid,
    history: History,
    visit: int,
    ln_k: F64,
    pa: F64,
    noise: float,
    draw: np.random.Generator,
) -> tuple[F64, F64]:
    """Read as found, decide, move, read as left; returns the states as left."""
    ln_g = grid.ln_g[:, visit] + grid.upset_ln[:, visit]
    bias, reads = grid.bias_co2_pct[:, visit], grid.reads[:, visit]
    found_phi = points(burners, ln_k, pa, ln_g)
    found = _read(burners, found_phi, bias, noise, draw)
    move = _decide(burners, found, draw) & (grid.may_adjust[:, visit] & reads)[:, None]
    new_ln_k, new_pa = _move(burners, found_phi, found, ln_k, pa, ln_g, bias, move, draw)
    left_phi = points(burners, new_ln_k, new_pa, ln_g)
    left = _read(burners, left_phi, bias, noise, draw)
    again = move.any(axis=1) | (grid.may_adjust[:, visit] & reads & (draw.random(len(burners)) < READS_AGAIN))
    for phase, (phi, co2, written) in enumerate(((found_phi, found, reads), (left_phi, left, again & reads))):
        history.phi[written, visit, phase] = phi[written]
        history.co2_read[written, visit, phase] = co2[written]
    history.left_read[:, visit] = again & reads
    history.moved_ln_k[:, visit] = np.where(move[:, 0], new_ln_k - ln_k, 0.0)
    history.moved_pa[:, visit] = np.where(move[:, 1], new_pa - pa, 0.0)
    for phase, pair in enumerate(((ln_k, pa), (new_ln_k, new_pa))):
        history.state[:, visit, phase] = np.where(grid.present[:, visit, None], np.stack(pair, -1), np.nan)
    return new_ln_k, new_pa


def points(burners: Burners, ln_k: F64, pa: F64, ln_g: F64) -> F64:
    """phi [-] at high fire, low fire and part rate, shape (n, 3), held inside what burns."""
    w = offset_ratio(burners, pa)
    rates = (np.ones_like(w), 1.0 / burners.turndown, np.full_like(w, PART_RATE))
    phi = np.stack([phi_at(ln_k, w, rate, ln_g) for rate in rates], axis=-1)
    return np.clip(phi, *PHI_LIMITS)


def offset_ratio(burners: Burners, pa: F64) -> F64:
    """w [-]: offset over the air signal, held where low fire still burns; zero without low fire."""
    w = np.clip(pa / burners.signal_pa, -0.6 / burners.turndown**2, 2.0 / burners.turndown**2)
    return np.where(burners.has_low, w, 0.0)


def co2_of(burners: Burners, phi: F64) -> F64:
    """Dry CO2 [vol %] at phi, each burner on its own fuel; phi is (n, …)."""
    return _by_fuel(burners, lambda slug, rows: co2_from_phi(phi[rows], FUELS[slug]), phi)


def phi_of(burners: Burners, co2_pct: F64) -> F64:
    """phi [-] that gives this dry CO2 [vol %], held to what the fuel can make; co2_pct is (n, …)."""

    def one(slug: str, rows: Bool) -> F64:
        fuel = FUELS[slug]
        return phi_from_co2(np.clip(co2_pct[rows], 0.5, 0.98 * fuel.co2_max_pct), fuel)[0]

    return np.clip(_by_fuel(burners, one, co2_pct), *PHI_LIMITS)


def _by_fuel(burners: Burners, one: Callable[[str, Bool], F64], like: F64) -> F64:
    out = np.empty_like(like)
    for position, slug in enumerate(FUEL_SLUGS):
        rows = burners.fuel == position
        if rows.any():
            out[rows] = one(slug, rows)
    return out


def _read(burners: Burners, phi: F64, bias: F64, noise: float, draw: np.random.Generator) -> F64:
    """What the analyser shows, to its last digit of 0.01 %."""
    co2 = co2_of(burners, phi) + bias[:, None] + noise * draw.standard_normal(phi.shape)
    return np.asarray(np.round(np.clip(co2, 0.5, 15.0), 2), dtype=np.float64)


def low_band(burners: Burners, high_read: F64) -> F64:
    """(n, 5) band of low fire, given what high fire read."""
    return burners.low_band + np.where(burners.low_relative, high_read, 0.0)[:, None]


def _decide(burners: Burners, found: F64, draw: np.random.Generator) -> Bool:
    """(n, 2): which trims are moved. Outside acceptance always; off target inside it, by some."""
    fussy = draw.random(len(burners)) < ADJUSTS_INSIDE
    moves = []
    for point, band in ((0, burners.high_band), (1, low_band(burners, found[:, 0]))):
        read = found[:, point]
        outside = (read < band[:, 0]) | (read > band[:, 4])
        off_target = (read < band[:, 1]) | (read > band[:, 3])
        moves.append(outside | (off_target & fussy))
    return np.stack(moves, axis=-1) & burners.movable


def _move(
    burners: Burners,
    phi: F64,
    found: F64,
    ln_k: F64,
    pa: F64,
    ln_g: F64,
    bias: F64,
    move: Bool,
    draw: np.random.Generator,
) -> tuple[F64, F64]:
    """Throttle to target at high fire, then offset to target at low fire, as the analyser shows it."""
    aim_high = burners.high_band[:, 2] + SET_NOISE_CO2_PCT * _normal(draw, ln_k)
    step = np.log(phi_of(burners, aim_high - bias) / phi[:, 0])
    new_ln_k = ln_k + np.where(move[:, 0], step, 0.0)
    now = points(burners, new_ln_k, pa, ln_g)
    high_read = np.where(move[:, 0], aim_high, found[:, 0])
    aim_low = low_band(burners, high_read)[:, 2] + SET_NOISE_CO2_PCT * _normal(draw, ln_k)
    low = np.where(move[:, 1], phi_of(burners, aim_low - bias), now[:, 1])
    w = state_from_points(now[:, 0], low, burners.turndown).w
    return new_ln_k, np.where(move[:, 1], w * burners.signal_pa, pa)


def start_states(burners: Burners, draw: np.random.Generator) -> None:
    """Set every burner to about its targets, as someone before the first record left it."""
    high = phi_of(burners, burners.high_band[:, 2])
    low = phi_of(burners, low_band(burners, burners.high_band[:, 2])[:, 2])
    state = state_from_points(high, np.where(burners.has_low, low, high), burners.turndown)
    burners.ln_k = state.ln_k + START_SPREAD_LN_K * _normal(draw, burners.ln_k)
    burners.offset_pa = state.w * burners.signal_pa + np.where(
        burners.has_low, START_SPREAD_PA * _normal(draw, burners.ln_k), 0.0
    )


def _normal(draw: np.random.Generator, like: F64) -> F64:
    return draw.standard_normal(np.shape(like))
