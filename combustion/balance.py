"""The full mole balance between O2, CO2, CO and air ratio: dry flue gas, no dissociation.

Carbon burns to CO2 but for the measured CO; hydrogen to water, sulphur to SO2; no other fuel is left
unburned. With X the oxygen of dry air, A the stoichiometric air, B what burning adds to the dry volume (both
per mole of fuel), y the measured CO and q the measured O2 (mole fractions, dry):

    dry flue gas     V (1 - y/2) = B + λ A
    oxygen           (q - y/2) V = (λ - 1) X A
    carbon           (CO2 + y) V = C

Every function below is one of these three solved for its result. Rich mixtures come out as λ < 1 only as far
as their CO tells: hydrogen that comes with the CO is not seen by the analyser and not counted.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float, refuse
from combustion.errors import OutOfRange
from combustion.fuels import AIR_O2_FRACTION, Fuel

AIR_O2_PCT: Final = 100.0 * AIR_O2_FRACTION
CO_LIMIT_PPM: Final = 100_000.0  # 10 %: above it hydrogen in the flue gas would make the balance meaningless


def air_ratio_from_o2(o2_pct: ArrayLike, fuel: Fuel, co_ppm: ArrayLike = 0.0) -> F64:
    """Air ratio λ [-] from dry O2 [vol %] and dry CO [ppm].

    Shapes broadcast; NaN gives NaN.   Limits: 0 <= o2_pct < 20.95, 0 <= co_ppm < 100,000, else OutOfRange.
    Below 1 the mixture is rich.   Source: mole balance, docs/formulas.md, section «air ratio».

    >>> from combustion.fuels import FUELS
    >>> round(float(air_ratio_from_o2(3.826, FUELS["methane"])), 3)
    1.2
    """
    o2, co = _checked_o2(o2_pct), _checked_co(co_ppm)
    surplus = (o2 - co / 2.0) / (1.0 - co / 2.0)
    volume_ratio = fuel.dry_products_less_air / fuel.stoich_air_mol_per_mol
    return np.asarray((AIR_O2_FRACTION + surplus * volume_ratio) / (AIR_O2_FRACTION - surplus))


def air_ratio_from_co2(co2_pct: ArrayLike, fuel: Fuel, co_ppm: ArrayLike = 0.0) -> F64:
    """Air ratio λ [-] from measured dry CO2 [vol %] and dry CO [ppm].

    Shapes broadcast; NaN gives NaN.   Limits: 0 < co2_pct <= the fuel's CO2max, 0 <= co_ppm < 100,000, else
    OutOfRange; a fuel with carbon.   Source: mole balance, docs/formulas.md, section «air ratio».

    >>> from combustion.fuels import FUELS
    >>> round(float(air_ratio_from_co2(9.564, FUELS["methane"])), 3)
    1.2
    """
    co2, co = _checked_co2(co2_pct, fuel), _checked_co(co_ppm)
    dry_flue = fuel.carbon / (co2 + co)
    return np.asarray(
        (dry_flue * (1.0 - co / 2.0) - fuel.dry_products_less_air) / fuel.stoich_air_mol_per_mol
    )


def co2_from_o2(o2_pct: ArrayLike, fuel: Fuel, co_ppm: ArrayLike = 0.0) -> F64:
    """Dry CO2 [vol %] that goes with dry O2 [vol %] and dry CO [ppm] on this fuel.

    Shapes broadcast; NaN gives NaN.   Limits: as air_ratio_from_o2.   Source: mole balance, «air ratio».

    >>> from combustion.fuels import FUELS
    >>> round(float(co2_from_o2(3.826, FUELS["methane"])), 3)
    9.564
    """
    o2, co = _checked_o2(o2_pct), _checked_co(co_ppm)
    stoich_share = (1.0 - co / 2.0) - (o2 - co / 2.0) / AIR_O2_FRACTION
    return np.asarray(fuel.co2_max_pct * stoich_share - 100.0 * co)


def o2_from_co2(co2_pct: ArrayLike, fuel: Fuel, co_ppm: ArrayLike = 0.0) -> F64:
    """Dry O2 [vol %] that goes with measured dry CO2 [vol %] and dry CO [ppm] on this fuel.

    Shapes broadcast; NaN gives NaN.   Limits: as air_ratio_from_co2.   Source: mole balance, «air ratio».

    >>> from combustion.fuels import FUELS
    >>> round(float(o2_from_co2(9.564, FUELS["methane"])), 3)
    3.826
    """
    co2, co = _checked_co2(co2_pct, fuel), _checked_co(co_ppm)
    stoich_share = 100.0 * (co2 + co) / fuel.co2_max_pct
    return np.asarray(100.0 * (co / 2.0 + AIR_O2_FRACTION * ((1.0 - co / 2.0) - stoich_share)))


def phi_from_o2(o2_pct: ArrayLike, fuel: Fuel, co_ppm: ArrayLike = 0.0) -> tuple[F64, F64]:
    """Fuel-air ratio φ = 1/λ [-] from dry O2 [vol %], and dφ/dO2 [1/vol %].

    Shapes broadcast; NaN gives NaN.   Limits: as air_ratio_from_o2.   Source: mole balance, «air ratio».

    >>> from combustion.fuels import FUELS
    >>> phi, slope = phi_from_o2(3.826, FUELS["methane"])
    >>> round(float(phi), 4), round(float(slope), 5)
    (0.8333, -0.04442)
    """
    o2, co = _checked_o2(o2_pct), _checked_co(co_ppm)
    surplus = (o2 - co / 2.0) / (1.0 - co / 2.0)
    volume_ratio = fuel.dry_products_less_air / fuel.stoich_air_mol_per_mol
    below = AIR_O2_FRACTION + surplus * volume_ratio
    phi = (AIR_O2_FRACTION - surplus) / below
    slope = -AIR_O2_FRACTION * (1.0 + volume_ratio) / below**2 / (1.0 - co / 2.0) / 100.0
    return np.asarray(phi), np.asarray(slope)


def phi_from_co2(co2_pct: ArrayLike, fuel: Fuel, co_ppm: ArrayLike = 0.0) -> tuple[F64, F64]:
    """Fuel-air ratio φ = 1/λ [-] from measured dry CO2 [vol %], and dφ/dCO2 [1/vol %].

    Shapes broadcast; NaN gives NaN.   Limits: as air_ratio_from_co2.   Source: mole balance, «air ratio».

    >>> from combustion.fuels import FUELS
    >>> phi, slope = phi_from_co2(9.0, FUELS["methane"])
    >>> round(float(phi), 4), round(float(slope), 4)
    (0.7882, 0.0804)
    """
    co2, co = _checked_co2(co2_pct, fuel), _checked_co(co_ppm)
    carbon_share = co2 + co
    above = fuel.carbon * (1.0 - co / 2.0)
    below = above - fuel.dry_products_less_air * carbon_share
    phi = fuel.stoich_air_mol_per_mol * carbon_share / below
    slope = fuel.stoich_air_mol_per_mol * above / below**2 / 100.0
    return np.asarray(phi), np.asarray(slope)


def co2_from_phi(phi: ArrayLike, fuel: Fuel) -> F64:
    """Dry CO2 [vol %] of complete combustion at fuel-air ratio φ = 1/λ [-].

    Shapes broadcast; NaN gives NaN.   Limits: 0 < phi <= 1, else OutOfRange.   Source: mole balance, «air
    ratio».

    >>> from combustion.fuels import FUELS
    >>> round(float(co2_from_phi(1 / 1.2, FUELS["methane"])), 3)
    9.564
    """
    values = as_float(phi)
    refuse("phi", values, (values <= 0.0) | (values > 1.0), "0 < phi <= 1")
    dry_flue = fuel.dry_products_less_air + fuel.stoich_air_mol_per_mol / values
    return np.asarray(100.0 * fuel.carbon / dry_flue)


def o2_from_phi(phi: ArrayLike, fuel: Fuel) -> F64:
    """Dry O2 [vol %] of complete combustion at fuel-air ratio φ = 1/λ [-].

    Shapes broadcast; NaN gives NaN.   Limits: 0 < phi <= 1, else OutOfRange.   Source: mole balance, «air
    ratio».

    >>> from combustion.fuels import FUELS
    >>> round(float(o2_from_phi(1 / 1.2, FUELS["methane"])), 3)
    3.826
    """
    values = as_float(phi)
    refuse("phi", values, (values <= 0.0) | (values > 1.0), "0 < phi <= 1")
    dry_flue = fuel.dry_products_less_air + fuel.stoich_air_mol_per_mol / values
    return np.asarray(100.0 * fuel.stoich_o2_mol_per_mol * (1.0 / values - 1.0) / dry_flue)


def _checked_o2(o2_pct: ArrayLike) -> F64:
    values = as_float(o2_pct)
    refuse("o2_pct", values, (values < 0.0) | (values >= AIR_O2_PCT), f"0 <= o2_pct < {AIR_O2_PCT:g}")
    return np.asarray(values / 100.0)


def _checked_co2(co2_pct: ArrayLike, fuel: Fuel) -> F64:
    if fuel.carbon == 0.0:
        raise OutOfRange("co2_pct", "given", "a fuel with carbon", code="fuel_without_carbon")
    values = as_float(co2_pct)
    limit = f"0 < co2_pct <= {fuel.co2_max_pct:.3f}, the most {fuel.slug} can make"
    refuse("co2_pct", values, (values <= 0.0) | (values > fuel.co2_max_pct * (1.0 + 1e-12)), limit)
    return np.asarray(values / 100.0)


def _checked_co(co_ppm: ArrayLike) -> F64:
    values = as_float(co_ppm)
    refuse("co_ppm", values, (values < 0.0) | (values >= CO_LIMIT_PPM), f"0 <= co_ppm < {CO_LIMIT_PPM:,.0f}")
    return np.asarray(values * 1e-6)
