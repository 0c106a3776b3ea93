"""Sensible heat of flue gas and air from NASA polynomials, 200 to 1000 K.

Coefficients (7-coefficient form, lower range): NASA Glenn / McBride, Gordon and Reno, NASA TM-4513 (1993),
read in the public file nasa_gas.yaml of Cantera 3.2.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from combustion import iso6976
from combustion.arrays import F64
from combustion.fuels import AIR_O2_FRACTION, Fuel
from combustion.iso6976 import ZERO_CELSIUS_K

LOWEST_C: Final = -40.0
HIGHEST_C: Final = 700.0

_GAS_CONSTANT_KJ_MOL_K: Final = 8.314462618e-3
# Heat capacity over R = a1 + a2 T + a3 T² + a4 T³ + a5 T⁴, T in K.
_CO2: Final = np.array([2.35677352, 8.98459677e-3, -7.12356269e-6, 2.45919022e-9, -1.43699548e-13])
_H2O: Final = np.array([4.19864056, -2.0364341e-3, 6.52040211e-6, -5.48797062e-9, 1.77197817e-12])
_N2: Final = np.array([3.53100528, -1.23660987e-4, -5.02999437e-7, 2.43530612e-9, -1.40881235e-12])
_O2: Final = np.array([3.78245636, -2.99673415e-3, 9.847302e-6, -9.68129508e-9, 3.24372836e-12])
_SO2: Final = np.array([3.2665338, 5.3237902e-3, 6.8437552e-7, -5.2810047e-9, 2.5590454e-12])
_MONATOMIC: Final = np.array([2.5, 0.0, 0.0, 0.0, 0.0])

_AIR: Final = AIR_O2_FRACTION * _O2 + (1.0 - AIR_O2_FRACTION) * _N2
_SCALE_K: Final = 1000.0


def heat_and_capacity(fuel: Fuel, temp_c: F64) -> F64:
    """Enthalpies above 0 K [kJ/mol] and heat capacities [kJ/(mol K)] at a temperature [°C], shape (6, …).

    Rows: enthalpy of the stoichiometric products of one mole of fuel (water as vapour), of one mole of dry
    air, of one mole of water vapour; then their heat capacities in the same order. Only differences of
    enthalpy mean anything.   Limits: unchecked, -40 to 700 °C.   Source: NASA TM-4513, see the module.

    >>> from combustion.fuels import FUELS
    >>> rows = heat_and_capacity(FUELS["methane"], np.array([25.0]))
    >>> rows[4:, 0].round(5).tolist()
    [0.02918, 0.03359]
    """
    scaled = (np.ravel(temp_c) + ZERO_CELSIUS_K) / _SCALE_K
    powers = np.empty((6, scaled.size))
    powers[0] = 1.0
    for order in range(1, 6):
        np.multiply(powers[order - 1], scaled, out=powers[order])
    return np.reshape(_coefficients(fuel) @ powers, (6, *np.shape(temp_c)))


@lru_cache(maxsize=256)
def _coefficients(fuel: Fuel) -> F64:
    """Polynomials of the six rows in T/1000 K, lowest power first, shape (6, 6)."""
    nitrogen = float(fuel.fractions @ iso6976.NITROGEN) / 2.0
    nitrogen += fuel.stoich_air_mol_per_mol * (1.0 - AIR_O2_FRACTION)
    products = (
        fuel.carbon * _CO2
        + fuel.water_mol_per_mol * _H2O
        + nitrogen * _N2
        + float(fuel.fractions @ iso6976.SULFUR) * _SO2
        + float(fuel.fractions @ iso6976.INERT) * _MONATOMIC
    )
    capacity = np.array([products, _AIR, _H2O]) * _GAS_CONSTANT_KJ_MOL_K
    order = np.arange(5)
    rows = np.zeros((6, 6))
    rows[:3, 1:] = capacity * _SCALE_K ** (order + 1) / (order + 1)
    rows[3:, :5] = capacity * _SCALE_K**order
    return rows
