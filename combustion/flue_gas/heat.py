"""Water, dew point, condensate and losses per mole of fuel.

The heat balance is closed at the intake air's temperature: heating value, latent heat and sensible heat are
all counted from there, so gross and net efficiency tell of the same useful heat.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from combustion import water
from combustion.enthalpy import heat_and_capacity
from combustion.fuels import Fuel
from combustion.gum import Quantity, choose
from combustion.readings import Rows

_CO_KJ_PER_PPM_MOL: Final = 282.98e-6  # heat lost with unburnt CO, ISO 6976:2016 at 25 °C
_NEARLY_BOILING: Final = 0.99


def heat(
    rows: Rows, fuel: Fuel, air_ratio: Quantity, dry_flue: Quantity, co_ppm_mol: Quantity
) -> dict[str, Quantity]:
    """Dew point, condensate, losses and efficiencies of a block of rows, in the units their names end with.

    air_ratio [-].   dry_flue: mol per mol of fuel.   co_ppm_mol: CO [ppm] times dry flue gas.   Flue gas
    below its dew point is taken as saturated at its temperature.   Limits: unchecked, those of Rows. Source:
    docs/formulas.md, sections «water» and «losses».
    """
    pressure, air_c, flue_c = (rows.quantity(n) for n in ("pressure_hpa", "air_temp_c", "flue_temp_c"))
    air = air_ratio * fuel.stoich_air_mol_per_mol
    brought = air * _humidity(rows, air_c, pressure)
    total_water = brought + fuel.water_mol_per_mol

    vapour_pressure = pressure * (total_water / (dry_flue + total_water))
    dew_point = vapour_pressure.through(*water.dew_point_with_slope(np.asarray(vapour_pressure.value)))
    condensed = (total_water - dry_flue * _saturated(flue_c, pressure)).at_least_zero()

    products, excess, vapour = _heat_rises(fuel, flue_c, air_c)
    warming = (flue_c - air_c) * water.LIQUID_HEAT_CAPACITY_KJ_MOL_K
    sensible = products + (air - fuel.stoich_air_mol_per_mol) * excess + brought * vapour
    sensible = sensible + condensed * (warming - vapour)
    from_25 = air_c - 25.0
    latent_heat = from_25 * water.LATENT_SLOPE_KJ_MOL_K + water.LATENT_KJ_MOL_AT_25_C
    gross = from_25 * fuel.gross_slope_kj_mol_k + fuel.gross_kj_mol
    net = gross - latent_heat * fuel.water_mol_per_mol
    per_gross = 100.0 / gross

    sensible_pct = sensible * per_gross
    latent_pct = (fuel.water_mol_per_mol - condensed) * (latent_heat * per_gross)
    unburnt_pct = co_ppm_mol * (per_gross * _CO_KJ_PER_PPM_MOL)
    efficiency_pct = 100.0 - (sensible_pct + latent_pct + unburnt_pct)
    return {
        "dew_point_c": dew_point,
        "condensed_pct": condensed * (100.0 / total_water),
        "condensate_kg_per_kwh": condensed * (water.MOLAR_MASS_G_MOL * 3.6 / fuel.gross_kj_mol),
        "sensible_loss_gross_pct": sensible_pct,
        "latent_loss_gross_pct": latent_pct,
        "unburnt_loss_gross_pct": unburnt_pct,
        "efficiency_gross_pct": efficiency_pct,
        "efficiency_net_pct": efficiency_pct * (gross / net),
    }


def _humidity(rows: Rows, air_c: Quantity, pressure: Quantity) -> Quantity:
    """Water brought by the intake air, mol per mol of dry air; exactly none where the humidity is 0."""
    rh_pct = rows.quantity("air_rh_pct")
    dry = (rh_pct.value == 0.0) & (rh_pct.u == 0.0)
    if dry.all():
        return Quantity(0.0)
    saturation, slope = water.saturation_with_slope(np.asarray(air_c.value))
    vapour = rh_pct * air_c.through(saturation * 0.01, slope * 0.01)
    moist = vapour / (pressure - vapour)
    return choose(dry, Quantity(0.0), moist) if dry.any() else moist


def _saturated(flue_c: Quantity, pressure: Quantity) -> Quantity:
    """Vapour that saturates the flue gas at its temperature, mol per mol of dry gas; ample near boiling."""
    held = np.minimum(flue_c.value, water.HIGHEST_C)
    saturation = flue_c.through(*water.saturation_with_slope(np.asarray(held)))
    boiling = np.asarray(saturation.value >= _NEARLY_BOILING * pressure.value)
    if boiling.any():
        saturation = choose(boiling, Quantity(_NEARLY_BOILING * pressure.value), saturation)
    return saturation / (pressure - saturation)


def _heat_rises(fuel: Fuel, flue_c: Quantity, air_c: Quantity) -> tuple[Quantity, Quantity, Quantity]:
    """Heat from intake to flue temperature of stoichiometric products, a mole of air, of vapour [kJ]."""
    flue, air = (heat_and_capacity(fuel, np.asarray(t.value)) for t in (flue_c, air_c))
    products, excess, vapour = (
        flue_c.through(flue[row], flue[row + 3]) - air_c.through(air[row], air[row + 3]) for row in range(3)
    )
    return products, excess, vapour
