"""Trim physics of a premix burner with pneumatic ratio control.

The relation, derived in docs/drift.md (section «the trims»), with phi = 1/air ratio:

    ln phi(r) = ln K + ln G + 1/2 ln(1 + w / r^2)

K is the throttle's state, w the offset pressure over the air signal at high fire, r the air rate relative
to high fire (1 there, 1/m at low fire with m the turndown in air), G the common factor of gas and air.
All arguments may be scalars or arrays that broadcast. Source of the relation: docs/drift.md; common practice
knows its two consequences (the throttle moves both points, the offset moves low fire) without a source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

KELVIN_AT_0_C = 273.15
REFERENCE_AIR_TEMP_C = 15.0
"""Intake air at which ln G is zero: a reference, so that states read in summer and winter compare."""
AIR_TEMP_LIMITS_C = (-60.0, 80.0)
OFFSET_PRIOR_SD = 0.004
"""Standard deviation of w where low fire was never read: 3 Pa over 700 Pa. Common practice, no source."""

HIGH_FIRE_SHARE = 0.95
"""Of the model's high fan speed: from here on a test counts as high fire. Assumed (design), no source."""


@dataclass(frozen=True)
class TrimState:
    """Throttle and offset of one burner with first-order standard uncertainties.

    ln_k: ln K [-].  w: offset over air signal at high fire [-].  u_ln_k, u_w: standard uncertainties [-].
    cov: covariance of ln_k and w [-].  Shapes are those of the broadcast arguments they came from.
    """

    ln_k: FloatArray
    w: FloatArray
    u_ln_k: FloatArray
    u_w: FloatArray
    cov: FloatArray

    def offset_pa(self, signal_pa: npt.ArrayLike) -> FloatArray:
        """Offset pressure [Pa] for an air signal at high fire of signal_pa [Pa]."""
        return self.w * _positive("signal_pa", signal_pa)

    def u_offset_pa(self, signal_pa: npt.ArrayLike) -> FloatArray:
        """Standard uncertainty of the offset pressure [Pa]; the signal is taken as exact."""
        return self.u_w * _positive("signal_pa", signal_pa)


def ln_intake_factor(air_temp_c: npt.ArrayLike) -> FloatArray:
    """ln G of the intake air's temperature: 1/2 ln(T / T_ref), T in kelvin, T_ref at 15 °C.

    air_temp_c: at the burner's air inlet, -60 to 80 °C; NaN stays NaN.   Returns: ln G [-].
    Warmer air is thinner, so the mixture is richer. Raises ValueError outside the limits.
    Source: docs/drift.md; gas temperature and humidity are taken as constant.

    >>> round(float(ln_intake_factor(35.0)), 4)
    0.0336
    """
    air = np.asarray(air_temp_c, dtype=np.float64)
    low, high = AIR_TEMP_LIMITS_C
    _refuse("air_temp_c", air, (air < low) | (air > high), f"{low} to {high} °C")
    return 0.5 * np.log((air + KELVIN_AT_0_C) / (REFERENCE_AIR_TEMP_C + KELVIN_AT_0_C))


def ln_common_factor(
    *,
    air_demand_ratio: npt.ArrayLike = 1.0,
    relative_density_ratio: npt.ArrayLike = 1.0,
    air_temp_c: npt.ArrayLike = REFERENCE_AIR_TEMP_C,
    gas_temp_c: npt.ArrayLike = REFERENCE_AIR_TEMP_C,
    dry_air_share: npt.ArrayLike = 1.0,
) -> FloatArray:
    """ln G: (air demand / sqrt(relative density)) x sqrt(T_air / T_gas) / dry share of the intake air.

    air_demand_ratio, relative_density_ratio: gas burnt over reference gas [-], > 0.
    air_temp_c, gas_temp_c: -60 to 80 °C.
    dry_air_share: mole fraction of dry air in the intake, 0 to 1 exclusive of 0.   Returns: ln G [-].
    Raises ValueError outside the limits.  Source: docs/drift.md, from orifice flow of gas and air.

    >>> round(float(ln_common_factor(air_demand_ratio=1.01)), 5)
    0.00995
    """
    demand = _positive("air_demand_ratio", air_demand_ratio)
    density = _positive("relative_density_ratio", relative_density_ratio)
    dry = _positive("dry_air_share", dry_air_share)
    _refuse("dry_air_share", dry, dry > 1.0, "above 0 and at most 1")
    warmth = ln_intake_factor(air_temp_c) - ln_intake_factor(gas_temp_c)
    return np.asarray(np.log(demand) - 0.5 * np.log(density) + warmth - np.log(dry))


def phi_at(
    ln_k: npt.ArrayLike, w: npt.ArrayLike, air_rate: npt.ArrayLike, ln_g: npt.ArrayLike = 0.0
) -> FloatArray:
    """phi = 1/air ratio [-] at a firing point, from the trims' states.

    ln_k, w: states [-].  air_rate: air flow over that at high fire, 0 < r <= 1.2.  ln_g: common factor [-].
    Raises ValueError where 1 + w/r^2 is not positive (the offset would shut the gas) or r is out of range.

    >>> round(float(phi_at(-0.2398867, -0.0016818, 0.2)), 4)
    0.77
    """
    rate = _positive("air_rate", air_rate)
    _refuse("air_rate", rate, rate > 1.2, "above 0 and at most 1.2")
    signal = 1.0 + np.asarray(w, dtype=np.float64) / rate**2
    _refuse("w", np.asarray(w, dtype=np.float64), signal <= 0.0, "above -r^2")
    return np.asarray(np.exp(np.asarray(ln_k) + np.asarray(ln_g) + 0.5 * np.log(signal)))


def state_from_points(
    phi_high: npt.ArrayLike,
    phi_low: npt.ArrayLike,
    turndown: npt.ArrayLike,
    *,
    ln_g: npt.ArrayLike = 0.0,
    u_ln_phi_high: npt.ArrayLike = 0.0,
    u_ln_phi_low: npt.ArrayLike = 0.0,
    u_shared: npt.ArrayLike = 0.0,
    u_ln_turndown: npt.ArrayLike = 0.0,
) -> TrimState:
    """Throttle and offset from phi at both firing points.

    phi_high, phi_low: 1/air ratio at high and low fire [-], > 0.
    turndown: m, air at high over low fire, 1.2 to 50.  ln_g: common factor [-].
    u_ln_phi_high, u_ln_phi_low: independent standard uncertainties of ln phi.
    u_shared: standard uncertainty common to both points (analyser, gas).  u_ln_turndown: of ln m.
    Returns: TrimState.  First order in every uncertainty. Raises ValueError where the readings cannot come
    from such a burner (m^2 must exceed (phi_low/phi_high)^2).  Source: docs/drift.md.

    >>> s = state_from_points(0.786055, 0.770007, 5.0)
    >>> round(float(np.exp(s.ln_k)), 4), round(float(s.offset_pa(700.0)), 2)
    (0.7867, -1.18)
    """
    high, low = _positive("phi_high", phi_high), _positive("phi_low", phi_low)
    m2 = _turndown(turndown) ** 2
    ratio2 = (low / high) ** 2
    _refuse("phi_low", low, ratio2 >= 0.9 * m2, "well below turndown x phi_high")
    gap = m2 - ratio2
    w = (ratio2 - 1.0) / gap
    ln_k = np.log(high) - 0.5 * np.log1p(w) - np.asarray(ln_g, dtype=np.float64)

    dw_dlow = 2.0 * ratio2 * (m2 - 1.0) / gap**2
    dw_dln_m = -2.0 * w * m2 / gap
    half = 0.5 / (1.0 + w)
    var_high, var_low = _square(u_ln_phi_high), _square(u_ln_phi_low)
    var_m = _square(u_ln_turndown)
    var_w = dw_dlow**2 * (var_high + var_low) + dw_dln_m**2 * var_m
    dk_dhigh, dk_dlow, dk_dln_m = 1.0 + half * dw_dlow, -half * dw_dlow, -half * dw_dln_m
    var_k = dk_dhigh**2 * var_high + dk_dlow**2 * var_low + dk_dln_m**2 * var_m + _square(u_shared)
    cov = -dk_dhigh * dw_dlow * var_high + dk_dlow * dw_dlow * var_low + dk_dln_m * dw_dln_m * var_m
    return TrimState(*np.broadcast_arrays(ln_k, w, np.sqrt(var_k), np.sqrt(var_w), cov))


def state_from_high_only(
    phi_high: npt.ArrayLike,
    *,
    ln_g: npt.ArrayLike = 0.0,
    u_ln_phi_high: npt.ArrayLike = 0.0,
    w_expected: npt.ArrayLike = 0.0,
    u_w: npt.ArrayLike = OFFSET_PRIOR_SD,
) -> TrimState:
    """Throttle from high fire alone; the offset stays at what was expected, with its prior spread.

    phi_high: 1/air ratio [-], > 0.  ln_g: common factor [-].  u_ln_phi_high: of ln phi [-].
    w_expected, u_w: what is known of the offset [-], w above -1.   Returns: TrimState with u_w unreduced.
    Raises ValueError outside the limits.  Source: docs/drift.md.
    """
    high = _positive("phi_high", phi_high)
    w = np.asarray(w_expected, dtype=np.float64)
    _refuse("w_expected", w, w <= -1.0, "above -1")
    half = 0.5 / (1.0 + w)
    ln_k = np.log(high) - 0.5 * np.log1p(w) - np.asarray(ln_g, dtype=np.float64)
    var_w = _square(u_w)
    u_ln_k = np.sqrt(_square(u_ln_phi_high) + half**2 * var_w)
    return TrimState(*np.broadcast_arrays(ln_k, w, u_ln_k, np.sqrt(var_w), -half * var_w))


def throttle_change(
    phi_high_before: npt.ArrayLike,
    phi_high_after: npt.ArrayLike,
    *,
    u_ln_before: npt.ArrayLike = 0.0,
    u_ln_after: npt.ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """What a move of the throttle changed ln phi by, at every firing point alike, and its uncertainty [-].

    phi_high_before, phi_high_after: 1/air ratio at high fire [-], > 0, with nothing else moved between.
    u_ln_before, u_ln_after: independent standard uncertainties of ln phi; what both share cancels.
    Returns: (change of ln phi, standard uncertainty). A low fire read after the move is taken back to before
    it by that change. Raises ValueError outside the limits.  Source: the relation above, in which K is a
    factor of phi at every rate.

    >>> change, u = throttle_change(0.78, 0.80, u_ln_before=0.003, u_ln_after=0.004)
    >>> round(float(change), 5), round(float(u), 3)
    (0.02532, 0.005)
    """
    before, after = _positive("phi_high_before", phi_high_before), _positive("phi_high_after", phi_high_after)
    u = np.sqrt(_square(u_ln_before) + _square(u_ln_after))
    return np.asarray(np.log(after) - np.log(before)), np.asarray(u)


def phi_after_move(
    state: TrimState,
    turndown: npt.ArrayLike,
    *,
    delta_ln_k: npt.ArrayLike = 0.0,
    delta_w: npt.ArrayLike = 0.0,
    ln_g: npt.ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """phi at high and low fire after a move of the trims: what the other point will do.

    turndown: m, 1.2 to 50.  delta_ln_k: relative change of K [-].  delta_w: change of w [-].  ln_g [-].
    Returns: (phi_high, phi_low) [-].  Raises ValueError as phi_at does.
    """
    m = _turndown(turndown)
    ln_k = state.ln_k + np.asarray(delta_ln_k, dtype=np.float64)
    w = state.w + np.asarray(delta_w, dtype=np.float64)
    return phi_at(ln_k, w, 1.0, ln_g), phi_at(ln_k, w, 1.0 / m, ln_g)


def move_to_targets(
    state: TrimState,
    phi_high_target: npt.ArrayLike,
    phi_low_target: npt.ArrayLike,
    turndown: npt.ArrayLike,
    *,
    ln_g: npt.ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Moves that bring both points to target: (change of ln K, change of w), both [-].

    phi_high_target, phi_low_target: 1/air ratio [-].  turndown: m, 1.2 to 50.  ln_g: common factor of today.
    Raises ValueError where no such burner gives the targets.  Advice goes one trim and one step at a time.
    """
    aim = state_from_points(phi_high_target, phi_low_target, turndown, ln_g=ln_g)
    return aim.ln_k - state.ln_k, aim.w - state.w


def offset_change(
    phi_high: npt.ArrayLike, phi_low: npt.ArrayLike, phi_low_after: npt.ArrayLike, turndown: npt.ArrayLike
) -> FloatArray:
    """Change of w [-] that takes low fire from phi_low to phi_low_after, the throttle untouched.

    phi_high, phi_low: 1/air ratio before [-], > 0.   phi_low_after: 1/air ratio [-], > 0.   turndown: m, 1.2
    to 50.   High fire moves too, by about 1/m^2 of it: see phi_after_move.   Raises ValueError as
    state_from_points does.   Source: docs/drift.md, solved for w.

    >>> round(float(offset_change(0.786055, 0.770007, 0.786055, 5.0)) * 700.0, 2)
    1.18
    """
    m2 = _turndown(turndown) ** 2
    state = state_from_points(phi_high, phi_low, turndown)
    after = _positive("phi_low_after", phi_low_after) / np.asarray(phi_low, dtype=np.float64)
    return np.asarray((1.0 + state.w * m2) * (after**2 - 1.0) / m2)


def _turndown(turndown: npt.ArrayLike) -> FloatArray:
    m = _positive("turndown", turndown)
    _refuse("turndown", m, (m < 1.2) | (m > 50.0), "1.2 to 50")
    return m


def _square(value: npt.ArrayLike) -> FloatArray:
    return np.asarray(np.asarray(value, dtype=np.float64) ** 2)


def _positive(name: str, value: npt.ArrayLike) -> FloatArray:
    array = np.asarray(value, dtype=np.float64)
    _refuse(name, array, array <= 0.0, "above 0")
    return array


def _refuse(name: str, values: FloatArray, wrong: npt.NDArray[np.bool_] | np.bool_, limit: str) -> None:
    """Raise ValueError naming the field, the first wrong value and the limit; NaN is nobody's error here."""
    if np.any(wrong):
        bad = np.broadcast_to(values, np.shape(wrong))[wrong] if np.ndim(wrong) else values
        raise ValueError(f"{name} is {np.ravel(bad)[0]:g}; it must be {limit}")
