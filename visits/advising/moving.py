"""How far to move a trim, what CO2 to expect after, and what the other firing point will do. Pure numbers.

The physics is combustion.trims: the throttle moves both points by the same share, the offset moves low fire
about m^2 times as much as high fire. What a unit does comes from the model's row of recorded moves.
"""

from dataclasses import dataclass
from math import exp, hypot, log, sqrt

from combustion.balance import co2_from_phi, phi_from_co2
from combustion.fuels import Fuel
from combustion.trims import offset_change, phi_after_move, state_from_points
from fleet.models import TrimKind

Z95 = 1.959964
RICHEST = 0.999
"""No CO2 is foretold beyond almost no excess air."""
SMALLEST_AMOUNT = 0.01


@dataclass(frozen=True)
class Effect:
    """What one clockwise unit does to the trim's state [-]; standard deviations between burners and moves."""

    per_unit: float
    u_one_burner: float
    scatter: float


@dataclass(frozen=True)
class Now:
    """Both firing points as they stand. CO2 dry, vol %; u: of a reading's own error, without the shared one.

    low_co2_pct: None where it was read before the last move.   turndown: m, None unknown.
    """

    fuel: Fuel
    high_co2_pct: float
    low_co2_pct: float | None
    u_own_co2_pct: float
    turndown: float | None


@dataclass(frozen=True)
class Plan:
    """One move, or only its aim where no effect is known.

    amount, low, high: units, unsigned, at most the step; None without an effect.   stepped: the aim is
    further than one step.   expected_…: CO2 after at the point moved, with its 95 % interval; None without an
    effect.   other_co2_pct: at the other point after this move, or, without an effect, once the aim is
    reached; None where it cannot be told.   clockwise: by the sign of the effect; None without.
    """

    amount: float | None = None
    low: float | None = None
    high: float | None = None
    stepped: bool = False
    expected_co2_pct: float | None = None
    expected_low: float | None = None
    expected_high: float | None = None
    other_co2_pct: float | None = None
    clockwise: bool | None = None


def plan_move(trim: str, now: Now, aim_co2_pct: float, effect: Effect | None, step: float | None) -> Plan:
    """The move of `trim` that brings its own point towards the aim.

    trim: throttle (set at high fire) or offset (at low fire, read since the last move).   step: the most one
    move may be, in the effect's unit; None: no amount.   Returns a Plan.   Limits: readings from which no
    state follows give a Plan without numbers.   Source: docs/formulas.md, «advice».
    """
    try:
        burner = _Burner(trim, now)
        whole = burner.change_to(aim_co2_pct)
        if effect is None or step is None or not effect.per_unit or not whole:
            return Plan(other_co2_pct=burner.other_after(whole))
        return _with_amount(burner, now, whole, effect, step)
    except ValueError:
        return Plan()


def _with_amount(burner: "_Burner", now: Now, whole: float, effect: Effect, step: float) -> Plan:
    size = abs(effect.per_unit)
    distance = abs(whole) / size
    relative = hypot(effect.u_one_burner / size, burner.u_change(whole, now.u_own_co2_pct) / abs(whole))
    amount = max(min(distance, step), SMALLEST_AMOUNT)
    change = amount * size * (1.0 if whole > 0 else -1.0)
    doubt = Z95 * hypot(effect.u_one_burner, effect.scatter) * amount
    half = (burner.own_after(change + doubt) - burner.own_after(change - doubt)) / 2.0
    # both readings, before and after, have their own noise
    half = hypot(half, Z95 * sqrt(2.0) * now.u_own_co2_pct)
    expected = burner.own_after(change)
    return Plan(
        amount=amount,
        low=min(distance * exp(-Z95 * relative), step),
        high=max(min(distance * exp(Z95 * relative), step), amount),
        stepped=distance > step,
        expected_co2_pct=expected,
        expected_low=expected - half,
        expected_high=expected + half,
        other_co2_pct=burner.other_after(change),
        clockwise=(change > 0) == (effect.per_unit > 0),
    )


class _Burner:
    """The burner at hand, seen from the trim that is to move. Changes are of ln K or of w."""

    def __init__(self, trim: str, now: Now) -> None:
        self.throttle = trim == TrimKind.THROTTLE
        self.fuel, self.m = now.fuel, now.turndown
        self.high = _phi(now.high_co2_pct, now.fuel)
        self.low = None if now.low_co2_pct is None else _phi(now.low_co2_pct, now.fuel)

    def change_to(self, aim_co2_pct: float) -> float:
        """The whole change of state that brings the trim's own point to the aim."""
        aim = _phi(aim_co2_pct, self.fuel)
        if self.throttle:
            return log(aim / self.high)
        return float(offset_change(self.high, self._low, aim, self._m))

    def u_change(self, whole: float, u_co2_pct: float) -> float:
        """Standard uncertainty of a change from that of the reading: first order."""
        base = self.high if self.throttle else self._low
        co2 = _co2(base, self.fuel)
        step = max(u_co2_pct, 1e-6)
        relative = log(_phi(min(co2 + step, 0.999 * self.fuel.co2_max_pct), self.fuel) / base)
        if self.throttle:
            return relative
        return 2.0 * relative * (self._low / self.high) ** 2 / self._m**2

    def own_after(self, change: float) -> float:
        """CO2 at the trim's own point after a change of its state."""
        if self.throttle:
            return _co2(self.high * exp(change), self.fuel)
        return _co2(self._after_offset(change)[1], self.fuel)

    def other_after(self, change: float) -> float | None:
        """CO2 at the other point after a change, None where that was not read since the last move."""
        if self.throttle:
            return None if self.low is None else _co2(self.low * exp(change), self.fuel)
        return _co2(self._after_offset(change)[0], self.fuel)

    def _after_offset(self, change: float) -> tuple[float, float]:
        state = state_from_points(self.high, self._low, self._m)
        least = -(0.9 + float(state.w) * self._m**2) / self._m**2
        high, low = phi_after_move(state, self._m, delta_w=max(change, least))
        return float(high), float(low)

    @property
    def _low(self) -> float:
        if self.low is None:
            raise ValueError("low fire was not read since the last move")
        return self.low

    @property
    def _m(self) -> float:
        if self.m is None:
            raise ValueError("the turndown is not known")
        return self.m


def _phi(co2_pct: float, fuel: Fuel) -> float:
    return float(phi_from_co2(co2_pct, fuel)[0])


def _co2(phi: float, fuel: Fuel) -> float:
    return float(co2_from_phi(min(phi, RICHEST), fuel))
