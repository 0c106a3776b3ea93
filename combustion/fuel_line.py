"""Do two measured channels agree with the fuel? Only where O2 and CO2 were each measured by themselves.

Dilution by air moves a reading along the fuel line and can never show here; see docs/formulas.md, «fuel
line».
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float, refuse
from combustion.balance import co2_from_o2
from combustion.fuels import AIR_O2_FRACTION, Fuel

PRIOR_FAULT: Final = 0.05  # assumed, no source
FAULT_SPREAD_PCT: Final = 1.5  # assumed: propane on a natural-gas setting is 1.6 to 1.9 % CO2 off


def residual_pct(o2_pct: ArrayLike, co2_pct: ArrayLike, fuel: Fuel, co_ppm: ArrayLike = 0.0) -> F64:
    """Measured CO2 less the CO2 [vol %, dry] that goes with the measured O2 on this fuel.

    o2_pct, co2_pct: dry, vol %, both measured; shapes broadcast; NaN gives NaN.   Limits: 0 <= o2_pct <
    20.95, else OutOfRange.   Source: mole balance, docs/formulas.md, section «fuel line».

    >>> from combustion.fuels import FUELS
    >>> round(float(residual_pct(3.754, 11.261, FUELS["natural_gas"])), 2)
    1.55
    """
    return as_float(co2_pct) - co2_from_o2(o2_pct, fuel, co_ppm)


def u_residual_pct(u_o2_pct: ArrayLike, u_co2_pct: ArrayLike, fuel: Fuel) -> F64:
    """Standard uncertainty of the residual [vol % CO2] from those of the two channels [vol %], CO exact.

    Shapes broadcast.   Limits: none checked.   Source: GUM, the line's slope CO2max / 20.95.

    >>> from combustion.fuels import FUELS
    >>> round(float(u_residual_pct(0.15, 0.15, FUELS["natural_gas"])), 3)
    0.172
    """
    slope = fuel.co2_max_pct / (100.0 * AIR_O2_FRACTION)
    return np.hypot(as_float(u_o2_pct) * slope, as_float(u_co2_pct))


def fault_probability(
    residual_pct: ArrayLike,
    u_residual_pct: ArrayLike,
    *,
    prior: float = PRIOR_FAULT,
    fault_spread_pct: float = FAULT_SPREAD_PCT,
) -> F64:
    """Probability [-] that the fuel is another or a channel wrong, given residual and u [vol % CO2].

    Two explanations are weighed: all in order, residual N(0, u²); or a fault, residual N(0, u² + spread²).
    prior: how often a fault before the reading.   Shapes broadcast; NaN gives NaN.   Limits: u above 0, 0 <
    prior < 1, else OutOfRange.   Source: Bayes' theorem; prior and spread are assumptions of this product, no
    source.

    >>> fault_probability([0.1, 1.6], 0.17).round(3).tolist()
    [0.007, 1.0]
    """
    residual, u = as_float(residual_pct), as_float(u_residual_pct)
    refuse("u_residual_pct", u, u <= 0.0, "u_residual_pct above 0")
    refuse("prior", as_float(prior), np.asarray(not 0.0 < prior < 1.0), "0 < prior < 1")
    wide = np.sqrt(u**2 + fault_spread_pct**2)
    ln_odds = np.log(prior / (1.0 - prior)) + np.log(u / wide) + 0.5 * residual**2 * (u**-2 - wide**-2)
    with np.errstate(over="ignore"):
        return np.asarray(1.0 / (1.0 + np.exp(-ln_odds)))
