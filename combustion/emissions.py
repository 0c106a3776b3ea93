"""CO and NOx in every basis in use: at a reference oxygen, per heat, by mole balance and by EPA."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float, refuse
from combustion.balance import AIR_O2_PCT, air_ratio_from_o2
from combustion.flue_gas.channels import EPA_AIR_O2_PCT
from combustion.flue_gas.rates import (
    CO_G_MOL,
    EPA_CO_LB_PER_DSCF_PPM,
    EPA_NOX_LB_PER_DSCF_PPM,
    NG_PER_J_PER_LB_PER_MMBTU,
    NO2_G_MOL,
)
from combustion.fuels import Fuel
from combustion.published import epa_fd

Pollutant = Literal["co", "nox"]

_G_MOL: Final = {"co": CO_G_MOL, "nox": NO2_G_MOL}
_LB_PER_DSCF_PPM: Final = {"co": EPA_CO_LB_PER_DSCF_PPM, "nox": EPA_NOX_LB_PER_DSCF_PPM}
_MOLAR_VOLUME_L: Final = 22.414  # ideal gas, 0 °C and 1013.25 hPa


@dataclass(frozen=True)
class PerHeat:
    """One pollutant per heat, units in the names. Limits: a result. Source: mole balance; Method 19.

    mg_per_kwh_net, mg_per_kwh_gross, ng_per_j (gross), lb_per_mmbtu (gross): by mole balance.   method19:
    lb/MMBtu by EPA's published Fd where there is one, else the composition's.   method19_apart_pct: how far
    above the mole balance that is.
    """

    mg_per_kwh_net: F64
    mg_per_kwh_gross: F64
    ng_per_j: F64
    lb_per_mmbtu: F64
    method19: F64
    method19_apart_pct: F64


def at_reference_o2(
    ppm: ArrayLike, o2_pct: ArrayLike, reference_o2_pct: ArrayLike = 0.0, *, air_o2_pct: float = AIR_O2_PCT
) -> F64:
    """A dry concentration (ppm or mg/m³) as it would be at a reference O2 [vol %]; 0 % is air-free.

    air_o2_pct: 20.95 here, 20.9 by EPA and ANSI, 21 by European practice.   Shapes broadcast; NaN gives NaN.
    Limits: 0 <= o2_pct and reference_o2_pct < air_o2_pct, else OutOfRange.   Source: dilution by dry air.

    >>> round(float(at_reference_o2(50.0, 7.0, air_o2_pct=20.9)), 1)
    75.2
    """
    o2, reference = as_float(o2_pct), as_float(reference_o2_pct)
    for name, values in (("o2_pct", o2), ("reference_o2_pct", reference)):
        refuse(name, values, (values < 0.0) | (values >= air_o2_pct), f"0 <= {name} < {air_o2_pct:g}")
    return as_float(ppm) * (air_o2_pct - reference) / (air_o2_pct - o2)


def mg_per_m3(ppm: ArrayLike, pollutant: Pollutant) -> F64:
    """Dry ppm as mg/m³ at 0 °C and 1013.25 hPa, ideal gas, NOx as NO2.

    Any shape.   Limits: none.   Source: molar volume 22.414 L.

    >>> round(float(mg_per_m3(1.0, "co")), 3)
    1.25
    """
    return as_float(ppm) * _G_MOL[pollutant] / _MOLAR_VOLUME_L


def per_heat(
    ppm: ArrayLike, pollutant: Pollutant, o2_pct: ArrayLike, fuel: Fuel, co_ppm: ArrayLike = 0.0
) -> PerHeat:
    """A dry concentration [ppm] at dry O2 [vol %] as mass per heat, by mole balance and by EPA Method 19.

    co_ppm: dry CO, for the balance.   Shapes broadcast; NaN gives NaN.   Limits: 0 <= o2_pct < 20.9, else
    OutOfRange.   Source: docs/formulas.md, section «emissions»; heating values ISO 6976:2016 at 25 °C.

    >>> from combustion.fuels import FUELS
    >>> round(float(per_heat(1.0, "nox", 0.0, FUELS["methane"]).mg_per_kwh_net), 3)
    1.764
    """
    air_ratio = air_ratio_from_o2(o2_pct, fuel, co_ppm)
    whole = fuel.dry_products_less_air + air_ratio * fuel.stoich_air_mol_per_mol
    dry_flue = whole / (1.0 - as_float(co_ppm) * 0.5e-6)
    ng_per_mol = as_float(ppm) * dry_flue * (_G_MOL[pollutant] * 1e3)
    ng_per_j = ng_per_mol / (fuel.gross_kj_mol * 1e3)
    lb_per_mmbtu = ng_per_j / NG_PER_J_PER_LB_PER_MMBTU
    method19 = method19_o2(ppm, pollutant, o2_pct, epa_fd(fuel))
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = 100.0 * (method19 / lb_per_mmbtu - 1.0)
    return PerHeat(
        mg_per_kwh_net=ng_per_j * (3.6 * fuel.gross_kj_mol / fuel.net_kj_mol),
        mg_per_kwh_gross=ng_per_j * 3.6,
        ng_per_j=ng_per_j,
        lb_per_mmbtu=lb_per_mmbtu,
        method19=method19,
        method19_apart_pct=np.asarray(apart),
    )


def method19_o2(ppm: ArrayLike, pollutant: Pollutant, o2_pct: ArrayLike, fd_dscf_per_mmbtu: float) -> F64:
    """Emission [lb/MMBtu] from dry ppm and dry O2 [vol %] with an Fd factor [dscf/MMBtu].

    Shapes broadcast.   Limits: 0 <= o2_pct < 20.9, else OutOfRange.   Source: 40 CFR 75 appendix F, equation
    F-5.

    >>> round(float(method19_o2(82.34, "nox", 3.0, 8710.0)), 4)
    0.1
    """
    air_free = at_reference_o2(ppm, o2_pct, air_o2_pct=EPA_AIR_O2_PCT)
    return air_free * (_LB_PER_DSCF_PPM[pollutant] * fd_dscf_per_mmbtu)


def method19_co2(ppm: ArrayLike, pollutant: Pollutant, co2_pct: ArrayLike, fc_scf_per_mmbtu: float) -> F64:
    """Emission [lb/MMBtu] from dry ppm and dry CO2 [vol %] with an Fc factor [scf/MMBtu].

    Shapes broadcast.   Limits: co2_pct above 0, else OutOfRange.   Source: 40 CFR 75 appendix F, equation
    F-6.

    >>> round(float(method19_co2(80.0, "nox", 10.0, 1040.0)), 4)
    0.0993
    """
    co2 = as_float(co2_pct)
    refuse("co2_pct", co2, co2 <= 0.0, "co2_pct above 0")
    return as_float(ppm) * (_LB_PER_DSCF_PPM[pollutant] * fc_scf_per_mmbtu * 100.0) / co2
