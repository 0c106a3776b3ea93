"""Runs a fleet through its years of visits and keeps the truth beside the readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.simulator.options import Options
from tests.simulator.physics import (
    REFERENCE_K,
    air_temp_c,
    co2_pct_of_ln_phi,
    ln_phi_of_co2_pct,
    ln_point_factor,
    offset_for,
)

TARGET_HIGH_CO2_PCT = 9.0
TARGET_LOW_CO2_PCT = 8.6
SIGNALS_PA = np.array([500.0, 600.0, 700.0, 800.0, 650.0, 900.0])
TURNDOWNS = np.array([5.0, 4.0, 5.0, 6.0, 4.5, 5.0])


@dataclass(frozen=True)
class Truth:
    """What the estimator is not told. Shapes: (A,) appliances, (A, 2) trims, (P,) analyser periods."""

    wanders: np.ndarray
    spread: np.ndarray
    drift: np.ndarray
    jump_visit: np.ndarray
    bias_co2_pct: np.ndarray
    tests: np.ndarray
    gas: np.ndarray
    turndown: np.ndarray
    signal_pa: np.ndarray
    state_left: np.ndarray
    """ln K and offset [Pa] after the last visit (A, 2)."""
    co2_next: np.ndarray
    """Dry CO2 at high and low fire a year after the last visit, some month's gas and reference air (A, 2)."""


@dataclass(frozen=True)
class Visits:
    """Readings of N visits. CO2 is (N, 2), high then low, NaN where not read."""

    appliance: np.ndarray
    number: np.ndarray
    day: np.ndarray
    found_co2_pct: np.ndarray
    left_co2_pct: np.ndarray
    adjusted: np.ndarray
    air_temp_c: np.ndarray
    period: np.ndarray
    area: np.ndarray
    month: np.ndarray


@dataclass(frozen=True)
class Fleet:
    options: Options
    model: np.ndarray
    area: np.ndarray
    believed_turndown: np.ndarray
    believed_signal_pa: np.ndarray
    period_analyser: np.ndarray
    period_start_day: np.ndarray
    visits: Visits
    truth: Truth


class _World:
    """Gas, analysers and burners, drawn once."""

    def __init__(self, options: Options, rng: np.random.Generator) -> None:
        self.options, self.rng, o = options, rng, options
        n = o.appliances
        self.model = rng.integers(0, o.models, n)
        kind = self.model % len(SIGNALS_PA)
        self.believed_signal_pa = SIGNALS_PA[kind]
        self.believed_turndown = TURNDOWNS[kind]
        self.signal_pa = self.believed_signal_pa * np.exp(rng.normal(0, o.pressure_error, n))
        self.turndown = np.maximum(self.believed_turndown * np.exp(rng.normal(0, o.turndown_error, n)), 1.5)
        self.area = rng.integers(0, o.areas, n)
        self._draw_gas()
        self._draw_analysers()
        self._draw_movement()

    def _draw_gas(self) -> None:
        o, months = self.options, 12 * (self.options.visits + 3)
        gas = np.empty((o.areas, months))
        gas[:, 0] = self.rng.normal(0, o.gas, o.areas)
        fresh = o.gas * np.sqrt(1 - o.gas_correlation**2)
        for month in range(1, months):
            gas[:, month] = o.gas_correlation * gas[:, month - 1] + self.rng.normal(0, fresh, o.areas)
        self.gas = gas

    def _draw_analysers(self) -> None:
        o, rng, years = self.options, self.rng, self.options.visits + 2
        self.analyser_home = np.arange(o.analysers) % o.areas
        self.analyser_phase = rng.uniform(0, 365.25, o.analysers)
        faulty = rng.random((o.analysers, years)) < o.faulty_share
        size = np.where(faulty, o.faulty_co2_pct, o.bias_co2_pct)
        self.bias = rng.normal(0, 1, (o.analysers, years, 2)) * size[..., None]
        repaired = rng.random((o.analysers, years)) < o.repaired_share
        self.repair_at = np.where(repaired, rng.uniform(0.2, 0.8, repaired.shape), 1.1)
        self.years = years

    def _draw_movement(self) -> None:
        o, rng, n = self.options, self.rng, self.options.appliances
        usual = np.array([o.throttle_spread, 1.0])
        spread = np.tile(usual, (n, 1)) * np.exp(rng.normal(0, o.spread_between, (n, 2)))
        spread[:, 1] *= o.offset_spread_pa
        which = rng.random(n)
        chosen = {
            "both": np.ones((n, 2), bool),
            "throttle": np.tile([True, False], (n, 1)),
            "offset": np.tile([False, True], (n, 1)),
            "one": np.stack([which < 0.5, which >= 0.5], axis=1),
        }[o.wander_trims]
        self.wanders = chosen & (rng.random(n) < o.wander_share)[:, None]
        ratio = rng.uniform(*o.wander_ratio, (n, 2))
        self.spread = spread * np.where(self.wanders, ratio, 1.0)
        self.drift = np.stack([rng.normal(0, 1, n) * o.throttle_drift, np.zeros(n)], axis=1)
        jumps = (rng.random(n) < o.jump_share) & ~self.wanders.any(axis=1)
        self.jump_visit = np.where(jumps, rng.integers(2, max(o.visits - 1, 3), n), -1)

    def analyser_for(self, area: np.ndarray) -> np.ndarray:
        """Mostly one of the area's own analysers."""
        o, rng = self.options, self.rng
        per_area = [np.flatnonzero(self.analyser_home == a) for a in range(o.areas)]
        any_one = rng.integers(0, o.analysers, len(area))
        home = np.array([rng.choice(own) if len(own) else -1 for own in (per_area[a] for a in area)])
        return np.where((rng.random(len(area)) < o.home_share) & (home >= 0), home, any_one)

    def period_of(self, analyser: np.ndarray, day: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Period (analyser and year) and the bias of that day [% CO2]."""
        age = (day + self.analyser_phase[analyser]) / 365.25
        year = np.minimum(age.astype(int), self.years - 1)
        after = (age - year) > self.repair_at[analyser, year]
        return analyser * self.years + year, self.bias[analyser, year, after.astype(int)]

    def noise(self, shape: tuple[int, ...]) -> np.ndarray:
        """Noise of one test's settled value [% CO2]."""
        o, rng = self.options, self.rng
        many = (o.readings, *shape)
        drawn = {
            "normal": lambda: rng.normal(0, 1, many),
            "student": lambda: rng.standard_t(4, many) / np.sqrt(2.0),
            "laplace": lambda: rng.laplace(0, 1 / np.sqrt(2.0), many),
            "spikes": lambda: rng.normal(0, 1, many) * np.where(rng.random(many) < 0.02, 5.0, 1.0),
        }[o.noise_kind]()
        value = o.noise_co2_pct * drawn.mean(axis=0)
        blunder = rng.random(shape) < o.blunder_share
        return value + np.where(blunder, rng.uniform(-3.0, 3.0, shape), 0.0)


def simulate(options: Options, seed: int) -> Fleet:
    """A fleet of single-burner appliances and its visits, reproducible from the seed."""
    world = _World(options, np.random.default_rng(seed))
    rng, n = world.rng, options.appliances
    target = ln_phi_of_co2_pct(np.array([TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT]))
    w = offset_for(np.full(n, target[1] - target[0]), world.turndown)
    w = w + rng.normal(0, 0.4, n) / world.signal_pa
    ln_k = target[0] - ln_point_factor(w, 1.0) + rng.normal(0, 0.005, n)

    tests = np.zeros((options.analysers * world.years, 2))
    rows: list[dict[str, np.ndarray]] = []
    anniversary = rng.uniform(0, 365.25, n)
    last = anniversary.copy()
    for number in range(options.visits):
        day = anniversary + 365.25 * number + (rng.normal(0, 15, n) if number else 0.0)
        years = np.maximum(day - last, 1.0) / 365.25
        last = day
        step = (
            rng.normal(0, 1, (n, 2)) * world.spread * np.sqrt(years)[:, None] + world.drift * years[:, None]
        )
        jump = np.where(
            world.jump_visit == number, rng.choice([-1.0, 1.0], n) * 6 * options.throttle_spread, 0
        )
        ln_k = ln_k + step[:, 0] + jump
        w = w + step[:, 1] / world.signal_pa
        seen = (rng.random(n) >= options.lost_share) | (number == 0)
        ln_k, w, row = _attend(world, day, ln_k, w, seen, tests)
        row["number"] = np.full(n, number)
        rows.append({name: values[seen] for name, values in row.items()})

    columns = {name: np.concatenate([row[name] for row in rows]) for name in rows[0]}
    order = np.lexsort((columns["number"], columns["appliance"]))
    visits = Visits(**{name: values[order] for name, values in columns.items()})
    truth = _truth(world, ln_k, w, tests)
    period = np.arange(options.analysers * world.years)
    analyser, year = period // world.years, period % world.years
    return Fleet(
        options=options,
        model=world.model,
        area=world.area,
        believed_turndown=world.believed_turndown,
        believed_signal_pa=np.where(
            rng.random(n) < options.pressure_known_share, world.believed_signal_pa, np.nan
        ),
        period_analyser=analyser,
        period_start_day=np.round(365.25 * year - world.analyser_phase[analyser]),
        visits=visits,
        truth=truth,
    )


def _attend(
    world: _World, day: np.ndarray, ln_k: np.ndarray, w: np.ndarray, seen: np.ndarray, tests: np.ndarray
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    o, rng, n = world.options, world.rng, len(day)
    air = air_temp_c(day, rng) if o.season else np.full(n, 15.0)
    month = (day / 30.4375).astype(int)
    ln_g = world.gas[world.area, month] + o.intake_exponent * np.log((air + 273.15) / REFERENCE_K)
    analyser = world.analyser_for(world.area)
    period, bias = world.period_of(analyser, day)

    true_found = _co2(world, ln_k, w, ln_g)
    found = true_found + bias[:, None] + world.noise((n, 2))
    target = np.array([TARGET_HIGH_CO2_PCT, TARGET_LOW_CO2_PCT])
    outside = (np.abs(found - target) > o.acceptance_co2_pct) & seen[:, None]
    unread_low = rng.random(n) >= o.low_read_share
    outside[:, 1] &= ~unread_low

    aim, left = _settings(world, bias, target)
    new_k = np.where(outside[:, 0], ln_phi_of_co2_pct(aim[:, 0]) - ln_g - ln_point_factor(w, 1.0), ln_k)
    high_now = new_k + ln_g + ln_point_factor(w, 1.0)
    new_w = np.where(outside[:, 1], offset_for(ln_phi_of_co2_pct(aim[:, 1]) - high_now, world.turndown), w)
    true_left = _co2(world, new_k, new_w, ln_g)
    read_again = true_left + bias[:, None] + world.noise((n, 2))
    if o.adjust_on == "same":
        read_again = np.where(outside, left, read_again)
    moved = outside.any(axis=1)
    left_read = np.where(moved[:, None], read_again, np.nan)
    found[unread_low, 1] = np.nan
    left_read[unread_low, 1] = np.nan
    for values in (found[seen], left_read[seen]):
        read = np.isfinite(values).sum(axis=1)
        np.add.at(tests, (period[seen], 0), read)
        np.add.at(tests, (period[seen], 1), read * bias[seen])
    row = {
        "appliance": np.arange(n),
        "day": day,
        "found_co2_pct": np.round(found, o.decimals),
        "left_co2_pct": np.round(left_read, o.decimals),
        "adjusted": outside,
        "air_temp_c": np.round(air, 1),
        "period": period,
        "area": world.area,
        "month": month,
    }
    return new_k, new_w, row


def _settings(world: _World, bias: np.ndarray, target: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """True CO2 that an adjustment leaves, and what the analyser showed at that moment, (n, 2) each."""
    o, rng, shape = world.options, world.rng, (len(bias), 2)
    clumsy = rng.random(shape) < o.clumsy_share
    shown = target + rng.normal(0, 1, shape) * np.where(clumsy, 0.3, o.adjust_scatter_co2_pct)
    if o.adjust_on == "truth":
        return shown, shown
    return shown - bias[:, None] - world.noise(shape), shown


def _co2(world: _World, ln_k: np.ndarray, w: np.ndarray, ln_g: np.ndarray) -> np.ndarray:
    high = ln_k + ln_g + ln_point_factor(w, 1.0)
    low = ln_k + ln_g + ln_point_factor(w, 1.0 / world.turndown)
    return co2_pct_of_ln_phi(np.stack([high, low], axis=1))


def _truth(world: _World, ln_k: np.ndarray, w: np.ndarray, tests: np.ndarray) -> Truth:
    rng, n = world.rng, len(ln_k)
    step = rng.normal(0, 1, (n, 2)) * world.spread + world.drift
    later = _co2(
        world, ln_k + step[:, 0], w + step[:, 1] / world.signal_pa, rng.normal(0, world.options.gas, n)
    )
    with np.errstate(invalid="ignore"):
        bias = np.where(tests[:, 0] > 0, tests[:, 1] / np.maximum(tests[:, 0], 1), np.nan)
    return Truth(
        wanders=world.wanders,
        spread=world.spread,
        drift=world.drift,
        jump_visit=world.jump_visit,
        bias_co2_pct=bias,
        tests=tests[:, 0],
        gas=world.gas,
        turndown=world.turndown,
        signal_pa=world.signal_pa,
        state_left=np.stack([ln_k, w * world.signal_pa], axis=1),
        co2_next=later,
    )
