"""What if: efficiency at another return temperature or excess air, and its worth in a year."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float, refuse
from combustion.balance import o2_from_phi
from combustion.flue_gas import quantities
from combustion.fuels import Fuel
from combustion.gum import Quantity
from combustion.readings import AnalyserSetting, Readings

_Z_95: Final = 1.959964


@dataclass(frozen=True)
class Interval:
    """A result with its standard uncertainty (k = 1) and its 95 % interval, all in one unit.

    Limits: normal distribution.   Source: GUM.
    """

    value: F64
    u: F64

    @property
    def low(self) -> F64:
        """Lower end of the 95 % interval, same unit. Limits: none. Source: GUM."""
        return self.value - _Z_95 * self.u

    @property
    def high(self) -> F64:
        """Upper end of the 95 % interval, same unit. Limits: none. Source: GUM."""
        return self.value + _Z_95 * self.u


@dataclass(frozen=True)
class Change:
    """What a change would do, units in the names. Limits: a result. Source: efficiency_change.

    efficiency_gross_pct, efficiency_net_pct: then.   gain_gross_pct: points gained on gross heat.
    fuel_saved_pct: of today's fuel, for the same useful heat.
    """

    efficiency_gross_pct: Interval
    efficiency_net_pct: Interval
    gain_gross_pct: Interval
    fuel_saved_pct: Interval


@dataclass(frozen=True)
class Yearly:
    """A change's worth in a year, units in the names; positive is saved. Limits: a result. Source: yearly.

    energy_kwh: gross heat.   money: in the price's currency.   co2_kg: from the fuel's carbon.
    """

    energy_kwh: Interval
    money: Interval
    co2_kg: Interval


def efficiency_change(
    readings: Readings,
    fuel: Fuel,
    *,
    return_temp_change_k: ArrayLike = 0.0,
    u_return_temp_change_k: ArrayLike = 0.0,
    excess_air_pct: ArrayLike | None = None,
    setting: AnalyserSetting | None = None,
) -> Change:
    """Efficiency with a return temperature changed by so many kelvin and, or, with another excess air [%].

    The flue temperature is taken to follow the return kelvin for kelvin; give u_return_temp_change_k for the
    doubt in that. Excess air changes at the same flue temperature. What both states share cancels in the
    difference. readings: numbers or arrays, as flue_gas_state.   Limits: as flue_gas_state, 0 <=
    excess_air_pct, else OutOfRange; the flue must stay within -40 to 700 °C.   Source: docs/formulas.md,
    section «savings».

    >>> from combustion.fuels import FUELS
    >>> now = Readings(o2_pct=5.0, flue_temp_c=62.0, air_temp_c=20.0)
    >>> change = efficiency_change(now, FUELS["natural_gas"], return_temp_change_k=-15.0)
    >>> round(float(change.gain_gross_pct.value), 1)
    3.9
    """
    before = quantities(readings, fuel, setting=setting)
    shift = as_float(return_temp_change_k)
    after = quantities(_changed(readings, fuel, shift, excess_air_pct), fuel, setting=setting)
    doubt = as_float(u_return_temp_change_k)
    if doubt.any():
        warmer = quantities(_changed(readings, fuel, shift + doubt, excess_air_pct), fuel, setting=setting)
        for name in ("efficiency_gross_pct", "efficiency_net_pct"):
            step = warmer[name].value - after[name].value
            after[name] = after[name] + Quantity(0.0, {"return_temp_change_k": step})
    now, then = before["efficiency_gross_pct"], after["efficiency_gross_pct"]
    saved = 100.0 - now * 100.0 / then
    return Change(
        efficiency_gross_pct=_interval(then),
        efficiency_net_pct=_interval(after["efficiency_net_pct"]),
        gain_gross_pct=_interval(then - now),
        fuel_saved_pct=_interval(saved),
    )


def yearly(
    change: Change,
    fuel: Fuel,
    *,
    input_gross_kw: ArrayLike,
    full_load_hours: ArrayLike,
    price_per_kwh_gross: ArrayLike,
    u_full_load_hours: ArrayLike = 0.0,
) -> Yearly:
    """What a change saves in a year: gross energy [kWh], money, and CO2 [kg], each with its interval.

    input_gross_kw: the burner's.   full_load_hours: per year, with u_full_load_hours.   price_per_kwh_gross:
    any currency.   Shapes broadcast.   Limits: none below 0, else OutOfRange.   Source: fuel saved = 1 - η
    before / η after, as US DOE Steam Tip Sheet 4.

    >>> from combustion.fuels import FUELS
    >>> change = Change(*(Interval(np.array(v), np.array(0.1)) for v in (90.0, 99.0, 2.0, 2.2)))
    >>> worth = yearly(
    ...     change, FUELS["natural_gas"], input_gross_kw=100, full_load_hours=2000, price_per_kwh_gross=0.08
    ... )
    >>> round(float(worth.money.value)), round(float(worth.co2_kg.value))
    (352, 794)
    """
    power, hours, price = (as_float(a) for a in (input_gross_kw, full_load_hours, price_per_kwh_gross))
    for name, values in (
        ("input_gross_kw", power),
        ("full_load_hours", hours),
        ("price_per_kwh_gross", price),
    ):
        refuse(name, values, values < 0.0, f"0 <= {name}")
    share = Quantity.measured("share", change.fuel_saved_pct.value / 100.0, change.fuel_saved_pct.u / 100.0)
    energy = Quantity.measured("hours", hours, as_float(u_full_load_hours)) * power * share
    return Yearly(
        energy_kwh=_interval(energy),
        money=_interval(energy * price),
        co2_kg=_interval(energy * fuel.co2_kg_per_kwh_gross),
    )


def _changed(readings: Readings, fuel: Fuel, shift: F64, excess_air_pct: ArrayLike | None) -> Readings:
    columns = readings.columns()
    changed = replace(readings, flue_temp_c=columns["flue_temp_c"] + shift)
    if excess_air_pct is None:
        return changed
    excess = as_float(excess_air_pct)
    refuse("excess_air_pct", excess, excess < 0.0, "0 <= excess_air_pct")
    o2 = o2_from_phi(1.0 / (1.0 + excess / 100.0), fuel)
    return replace(changed, o2_pct=o2, co2_pct=None, u_o2_pct=0.0, o2_measured=True)


def _interval(quantity: Quantity) -> Interval:
    return Interval(np.asarray(quantity.value), quantity.u)
