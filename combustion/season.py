"""What intake air and gas quality do to a burner whose trims nobody touched.

A pneumatic valve holds gas pressure to air pressure, so both flow as the root of pressure over density: the
fuel-air ratio follows G = (air demand / √relative density) √(T_air/T_gas) √((1 + w)(1 + w M_w/M_a)), w the
moisture. A fan at fixed speed with a fixed gas rate moves a constant volume: the ratio follows T_air (1 + w).
"""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from combustion import water
from combustion.arrays import F64, as_float, refuse
from combustion.balance import co2_from_phi, o2_from_phi, phi_from_co2, phi_from_o2
from combustion.fuels import Fuel
from combustion.iso6976 import AIR_MOLAR_MASS_G_MOL, ZERO_CELSIUS_K

RatioControl = Literal["pneumatic", "constant_volume"]
_WATER_OVER_AIR: Final = water.MOLAR_MASS_G_MOL / AIR_MOLAR_MASS_G_MOL


def ln_gas_factor(fuel: Fuel) -> float:
    """Logarithm of air demand over root of relative density [-]: how rich a gas burns at one orifice.

    Only differences between gases mean anything.   Limits: none.   Source: derived, docs/formulas.md,
    «season».

    >>> from combustion.fuels import FUELS
    >>> round(ln_gas_factor(FUELS["natural_gas_h2_20"]) - ln_gas_factor(FUELS["natural_gas"]), 3)
    -0.066
    """
    return float(
        np.log(fuel.stoich_air_mol_per_mol) - 0.5 * np.log(fuel.molar_mass_g_mol / AIR_MOLAR_MASS_G_MOL)
    )


def ln_air_factor(
    air_temp_c: ArrayLike,
    air_rh_pct: ArrayLike = 0.0,
    pressure_hpa: ArrayLike = 1013.25,
    *,
    control: RatioControl = "pneumatic",
) -> F64:
    """Logarithm of what the intake air does to the fuel-air ratio [-], gas temperature constant.

    air_temp_c [°C], air_rh_pct [%], pressure_hpa; shapes broadcast; NaN gives NaN. Only differences mean
    anything. Limits: -40 <= air_temp_c <= 80, 0 <= air_rh_pct <= 100, else OutOfRange. Source: derived,
    docs/formulas.md, section «season».

    >>> round(float(ln_air_factor(0.0) - ln_air_factor(20.0)), 4)
    -0.0353
    """
    air = as_float(air_temp_c)
    moisture = water.humidity_mol_per_mol(air, air_rh_pct, pressure_hpa)
    kelvin = np.log(air + ZERO_CELSIUS_K)
    if control == "constant_volume":
        return np.asarray(kelvin + np.log1p(moisture))
    return np.asarray(0.5 * (kelvin + np.log1p(moisture) + np.log1p(moisture * _WATER_OVER_AIR)))


def ln_gas_temp_factor(gas_temp_c: ArrayLike) -> F64:
    """Logarithm of what the gas's temperature [°C] does to a pneumatic burner's fuel-air ratio [-].

    Any shape; only differences mean anything.   Limits: -40 <= gas_temp_c <= 80, else OutOfRange.
    Source: derived, docs/formulas.md, section «season».

    >>> round(float(ln_gas_temp_factor(20.0) - ln_gas_temp_factor(10.0)), 4)
    -0.0174
    """
    gas = as_float(gas_temp_c)
    refuse("gas_temp_c", gas, (gas < -40.0) | (gas > 80.0), "-40 <= gas_temp_c <= 80")
    return np.asarray(-0.5 * np.log(gas + ZERO_CELSIUS_K))


def co2_after(co2_pct: ArrayLike, fuel: Fuel, ln_shift: ArrayLike, *, other_fuel: Fuel | None = None) -> F64:
    """Dry CO2 [vol %] to expect when ln φ shifts by ln_shift [-], trims untouched; NaN if then rich.

    co2_pct: dry, on `fuel`; shapes broadcast.   other_fuel: what is burnt then (its own ln_gas_factor is part
    of ln_shift).   Limits: 0 < co2_pct <= CO2max, else OutOfRange.   Source: derived, docs/formulas.md,
    «season».

    >>> from combustion.fuels import FUELS
    >>> colder = ln_air_factor(0.0) - ln_air_factor(20.0)
    >>> round(float(co2_after(9.0, FUELS["natural_gas"], colder) - 9.0), 2)
    -0.34
    """
    phi = phi_from_co2(co2_pct, fuel)[0] * np.exp(as_float(ln_shift))
    return co2_from_phi(np.where(phi > 1.0, np.nan, phi), other_fuel or fuel)


def o2_after(o2_pct: ArrayLike, fuel: Fuel, ln_shift: ArrayLike, *, other_fuel: Fuel | None = None) -> F64:
    """Dry O2 [vol %] to expect when ln φ shifts by ln_shift [-], trims untouched; NaN if then rich.

    o2_pct: dry, on `fuel`; shapes broadcast.   other_fuel: as in co2_after.   Limits: 0 <= o2_pct < 20.95,
    else OutOfRange.   Source: derived, docs/formulas.md, section «season».

    >>> from combustion.fuels import FUELS
    >>> warmer = ln_air_factor(32.2) - ln_air_factor(15.6)
    >>> round(float(o2_after(3.0, FUELS["natural_gas"], warmer)), 2)
    2.44
    """
    phi = phi_from_o2(o2_pct, fuel)[0] * np.exp(as_float(ln_shift))
    return o2_from_phi(np.where(phi > 1.0, np.nan, phi), other_fuel or fuel)
