"""Saturation of water and its dew point, by the closed equation of IAPWS-IF97 region 4.

Its backward form gives the dew point without iteration. Coefficients: IAPWS R7-97(2012), table 34 (from
memory, verified against the release's check values and CoolProp in the tests).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float, refuse
from combustion.iso6976 import ZERO_CELSIUS_K

MOLAR_MASS_G_MOL: Final = 18.01528
LATENT_KJ_MOL_AT_25_C: Final = 44.013  # ISO 6976:2016, as is the slope between 0 and 25 °C
LATENT_SLOPE_KJ_MOL_K: Final = (44.013 - 45.064) / 25.0
LIQUID_HEAT_CAPACITY_KJ_MOL_K: Final = 0.0753  # IAPWS-95, 4.18 kJ/(kg K), 20 to 60 °C

LOWEST_C: Final = -40.0  # the equation is for 0 °C upwards; below it is continued, over supercooled water
HIGHEST_C: Final = 120.0

_N: Final = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)
_HPA_PER_MPA: Final = 1e4


def saturation_pressure_hpa(temp_c: ArrayLike) -> F64:
    """Saturation pressure of water [hPa] over the liquid at a temperature [°C].

    Any shape; NaN gives NaN.   Limits: -40 <= temp_c <= 120, else OutOfRange; below 0 °C supercooled water,
    as the relative humidity of meteorology is defined.   Source: IAPWS R7-97(2012), equation 30.

    >>> round(float(saturation_pressure_hpa(20.0)), 3)
    23.392
    """
    values = as_float(temp_c)
    refuse("temp_c", values, (values < LOWEST_C) | (values > HIGHEST_C), "-40 <= temp_c <= 120")
    return saturation_with_slope(values)[0]


def dew_point_c(vapour_pressure_hpa: ArrayLike) -> F64:
    """Temperature [°C] at which that vapour pressure [hPa] saturates.

    Any shape; NaN gives NaN.   Limits: 0.1 <= vapour_pressure_hpa <= 2000, else OutOfRange.
    Source: IAPWS R7-97(2012), equation 31.

    >>> round(float(dew_point_c(23.392)), 3)
    20.0
    """
    values = as_float(vapour_pressure_hpa)
    limit = "0.1 <= vapour_pressure_hpa <= 2000"
    refuse("vapour_pressure_hpa", values, (values < 0.1) | (values > 2000.0), limit)
    return dew_point_with_slope(values)[0]


def humidity_mol_per_mol(temp_c: ArrayLike, rh_pct: ArrayLike, pressure_hpa: ArrayLike = 1013.25) -> F64:
    """Water in moist air [mol/mol dry air] from temperature [°C], humidity [%] and pressure [hPa].

    Shapes broadcast; NaN gives NaN.   Limits: -40 <= temp_c <= 80, 0 <= rh_pct <= 100, 500 <= pressure_hpa <=
    1100, else OutOfRange; ideal gas.   Source: definition of relative humidity.

    >>> round(float(humidity_mol_per_mol(20.0, 60.0)), 5)
    0.01405
    """
    air, rh, pressure = as_float(temp_c), as_float(rh_pct), as_float(pressure_hpa)
    refuse("temp_c", air, (air < LOWEST_C) | (air > 80.0), "-40 <= temp_c <= 80")
    refuse("rh_pct", rh, (rh < 0.0) | (rh > 100.0), "0 <= rh_pct <= 100")
    refuse("pressure_hpa", pressure, (pressure < 500.0) | (pressure > 1100.0), "500 <= pressure_hpa <= 1100")
    vapour = rh / 100.0 * saturation_with_slope(air)[0]
    return np.asarray(vapour / (pressure - vapour))


def latent_kj_mol(temp_c: ArrayLike) -> F64:
    """Latent heat of water [kJ/mol] at a temperature [°C], a straight line through the standard's table.

    Any shape.   Limits: -40 <= temp_c <= 120, else OutOfRange; the table is for 0 to 25 °C (0.001 kJ/mol
    there). Source: ISO 6976:2016.

    >>> round(float(latent_kj_mol(15.0)), 3)
    44.433
    """
    values = as_float(temp_c)
    refuse("temp_c", values, (values < LOWEST_C) | (values > HIGHEST_C), "-40 <= temp_c <= 120")
    return np.asarray(LATENT_KJ_MOL_AT_25_C + LATENT_SLOPE_KJ_MOL_K * (values - 25.0))


def saturation_with_slope(temp_c: F64) -> tuple[F64, F64]:
    """Saturation pressure [hPa] and its slope [hPa/K]. Limits: unchecked, -40 to 120 °C. Source: IAPWS-IF97.

    >>> pressure, slope = saturation_with_slope(np.array(20.0))
    >>> round(float(slope), 3)
    1.449
    """
    kelvin = temp_c + ZERO_CELSIUS_K
    distance = 1.0 / (kelvin - _N[9])
    theta = kelvin + _N[8] * distance
    a = (theta + _N[0]) * theta + _N[1]
    b = (_N[2] * theta + _N[3]) * theta + _N[4]
    c = (_N[5] * theta + _N[6]) * theta + _N[7]
    root = np.sqrt(b * b - 4.0 * a * c)
    beta = 2.0 * c / (root - b)  # fourth root of the pressure [MPa]
    # From a β² + b β + c = 0, differentiated by θ; 2 a β + b = -root.
    along = ((2.0 * theta + _N[0]) * beta + 2.0 * _N[2] * theta + _N[3]) * beta + 2.0 * _N[5] * theta + _N[6]
    by_theta = along / root
    squared = beta * beta
    pressure = _HPA_PER_MPA * squared * squared
    slope = 4.0 * pressure / beta * by_theta * (1.0 - _N[8] * distance * distance)
    return pressure, slope


def dew_point_with_slope(vapour_pressure_hpa: F64) -> tuple[F64, F64]:
    """Dew point [°C] and its slope [K/hPa]. Limits: unchecked, 0.1 to 2000 hPa. Source: IAPWS-IF97.

    >>> dew_point, slope = dew_point_with_slope(np.array(23.392))
    >>> round(float(slope), 3)
    0.69
    """
    squared = np.sqrt(vapour_pressure_hpa / _HPA_PER_MPA)
    beta = np.sqrt(squared)
    e = squared + _N[2] * beta + _N[5]
    f = _N[0] * squared + _N[3] * beta + _N[6]
    g = _N[1] * squared + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - np.sqrt(f * f - 4.0 * e * g))
    total = _N[9] + d
    kelvin = 0.5 * (total - np.sqrt(total * total - 4.0 * (_N[8] + _N[9] * d)))
    temp_c = kelvin - ZERO_CELSIUS_K
    return temp_c, 1.0 / saturation_with_slope(temp_c)[1]
