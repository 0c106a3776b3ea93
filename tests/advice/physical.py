"""A burner with parameters of its own, richer than what the advice believes of it.

Its gas is tests/simulator's (another natural gas than the product's), its throttle bends and has backlash,
its turndown is not the nameplate's, its offset acts on a signal of its own. Hands turn nearly what they mean
to and note sixteenths; now and then an entry is the wrong way round or another amount. The analyser has a
bias of the day and noise; the gas has its month, the air its season.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.simulator.physics import REFERENCE_K, co2_pct_of_ln_phi, ln_phi_of_co2_pct, ln_point_factor

NAMEPLATE_M = 5.0
PER_TURN = {"throttle": -0.2, "offset": 0.025}
"""Of the model: change of ln K and of w per clockwise turn."""
AIM = {"throttle": 9.0, "offset": 8.7}
NOISE_CO2_PCT = 0.06
"""What is a reading's own of an analyser of the usual class, ± 0.3 %."""


@dataclass
class Burner:
    rng: np.random.Generator
    ln_k: float = field(init=False)
    w: float = field(init=False)

    def __post_init__(self) -> None:
        rng = self.rng
        self.m = NAMEPLATE_M * (1.0 + 0.03 * rng.standard_normal())
        self.own = {trim: per * (1.0 + 0.12 * rng.standard_normal()) for trim, per in PER_TURN.items()}
        self.bend = 0.3 * rng.standard_normal()
        self.backlash = abs(0.005 * rng.standard_normal())
        self.last_way = {"throttle": 0.0, "offset": 0.0}
        self.new_day()
        self.ln_k = float(ln_phi_of_co2_pct(AIM["throttle"])) - self.ln_g
        d = float(ln_phi_of_co2_pct(AIM["offset"]) - ln_phi_of_co2_pct(AIM["throttle"]))
        self.w = (np.exp(2 * d) - 1) / (self.m**2 - np.exp(2 * d))

    def new_day(self) -> None:
        """Another month's gas, another air, another analyser."""
        air_c = self.rng.uniform(-2.0, 28.0)
        self.ln_g = 0.006 * self.rng.standard_normal() + 0.5 * np.log((air_c + 273.15) / REFERENCE_K)
        self.bias = 0.08 * self.rng.standard_normal()

    def put_off(self, trim: str, co2_pct: float) -> None:
        """Drift so that the trim's own point reads this, noise aside; the other point stays near its aim."""
        if trim == "throttle":
            now = self.true("high") + self.bias
            self.ln_k += float(ln_phi_of_co2_pct(co2_pct) - ln_phi_of_co2_pct(now))
            return
        self.ln_k += float(
            ln_phi_of_co2_pct(AIM["throttle"]) - ln_phi_of_co2_pct(self.true("high") + self.bias)
        )
        for _ in range(40):
            now = self.true("low") + self.bias
            step = float(ln_phi_of_co2_pct(co2_pct) - ln_phi_of_co2_pct(now))
            self.w += 2.0 * step * (1.0 + self.w * self.m**2) / self.m**2

    def true(self, point: str) -> float:
        rate = 1.0 if point == "high" else 1.0 / self.m
        return float(co2_pct_of_ln_phi(np.asarray(self.ln_k + self.ln_g + ln_point_factor(self.w, rate))))

    def read(self, point: str) -> float:
        return round(self.true(point) + self.bias + NOISE_CO2_PCT * self.rng.standard_normal(), 2)

    def turn(self, trim: str, clockwise_turns: float) -> None:
        """What a hand does that means to turn by this: nearly that, less the backlash on a change of way."""
        turned = clockwise_turns * (1.0 + 0.08 * self.rng.standard_normal())
        way = float(np.sign(turned))
        if self.last_way[trim] and way != self.last_way[trim]:
            turned -= way * min(self.backlash, abs(turned))
        self.last_way[trim] = way
        change = self.own[trim] * turned * (1.0 + self.bend * turned)
        if trim == "throttle":
            self.ln_k += change
        else:
            self.w += change


def recorded_amount(rng: np.random.Generator, clockwise_turns: float) -> float:
    """As noted: to the sixteenth; one in twenty-five the wrong way round or another amount."""
    noted = float(np.sign(clockwise_turns)) * max(round(16 * abs(clockwise_turns)), 1) / 16
    if rng.random() < 0.04:
        noted *= rng.choice([-1.0, 2.0, 0.5])
    return noted
