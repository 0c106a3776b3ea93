"""CO and NOx per heat by mole balance, EPA Method 19 beside it, and the trade's short loss formula."""

from __future__ import annotations

from typing import Final

import numpy as np

from combustion.balance import AIR_O2_PCT
from combustion.flue_gas.channels import EPA_AIR_O2_PCT
from combustion.fuels import Fuel
from combustion.gum import Quantity, choose
from combustion.published import epa_fd, short_formula
from combustion.readings import Rows
from combustion.reasons import Reason

CO_G_MOL: Final = 28.0101
NO2_G_MOL: Final = 46.0055
NG_PER_J_PER_LB_PER_MMBTU: Final = 453.59237 / 1.05505585262
EPA_NOX_LB_PER_DSCF_PPM: Final = 1.194e-7  # 40 CFR 75 appendix F
EPA_CO_LB_PER_DSCF_PPM: Final = 7.268e-8  # 28.0 / 385.3e6


def rates(
    rows: Rows, fuel: Fuel, o2_pct: Quantity, dry_flue: Quantity, co_ppm_mol: Quantity
) -> dict[str, Quantity]:
    """Emissions of a block of rows, NOx as NO2, in the units their names end with.

    o2_pct: dry [vol %].   dry_flue: mol per mol of fuel.   co_ppm_mol: CO [ppm] times dry flue gas.
    Limits: unchecked, those of Rows; EPA's factor needs O2 below 20.9 %.
    Source: docs/formulas.md, section «emissions».
    """
    co, nox = rows.quantity("co_ppm"), rows.quantity("nox_ppm")
    nox_ppm_mol = nox * dry_flue
    mg_per_kwh_net = 3.6 / fuel.net_kj_mol  # from ppm mol/mol times g/mol
    lb_per_mmbtu = 1.0 / fuel.gross_kj_mol / NG_PER_J_PER_LB_PER_MMBTU
    at_3_o2 = (AIR_O2_PCT - 3.0) / AIR_O2_PCT / fuel.stoich_dry_flue_mol_per_mol
    air_free = _epa_dilution(rows, o2_pct)
    fd = epa_fd(fuel)
    return {
        "co_mg_per_kwh_net": co_ppm_mol * (CO_G_MOL * mg_per_kwh_net),
        "nox_mg_per_kwh_net": nox_ppm_mol * (NO2_G_MOL * mg_per_kwh_net),
        "nox_ppm_at_3_o2": nox_ppm_mol * at_3_o2,
        "nox_lb_per_mmbtu": nox_ppm_mol * (NO2_G_MOL * lb_per_mmbtu),
        "co_lb_per_mmbtu": co_ppm_mol * (CO_G_MOL * lb_per_mmbtu),
        "nox_lb_per_mmbtu_method19": nox * (air_free * (EPA_NOX_LB_PER_DSCF_PPM * fd)),
        "co_lb_per_mmbtu_method19": co * (air_free * (EPA_CO_LB_PER_DSCF_PPM * fd)),
    }


def siegert(rows: Rows, fuel: Fuel, o2_pct: Quantity) -> dict[str, Quantity]:
    """The short loss formula on net heat [%], where constants are published for the kind of fuel.

    o2_pct: dry [vol %].   Limits: unchecked, those of Rows.   Source: combustion.published.
    """
    constants = short_formula(fuel)
    if constants is None:
        rows.mark(np.ones(len(rows.flags), dtype=np.bool_), Reason.NO_PUBLISHED_CONSTANTS)
        return {"siegert_loss_net_pct": Quantity(np.nan)}
    rise = rows.quantity("flue_temp_c") - rows.quantity("air_temp_c")
    per_kelvin = constants.siegert_a2 / (21.0 - o2_pct) + constants.siegert_b
    return {"siegert_loss_net_pct": rise * per_kelvin}


def _epa_dilution(rows: Rows, o2_pct: Quantity) -> Quantity:
    at_ambient = np.asarray(o2_pct.value >= EPA_AIR_O2_PCT)
    air_free = EPA_AIR_O2_PCT / (EPA_AIR_O2_PCT - o2_pct)
    if at_ambient.any():
        rows.mark(at_ambient, Reason.O2_ABOVE_EPA_AMBIENT)
        air_free = choose(at_ambient, Quantity(np.nan), air_free)
    return air_free
