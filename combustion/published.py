"""Published constants of the trade's short formulas, chosen by what the fuel mostly is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from combustion.fuels import Fuel


@dataclass(frozen=True)
class ShortFormula:
    """Constants of one family of fuels.

    siegert_a2 [vol %/K], siegert_b [1/K]: loss on net heat = (flue - air) (A2 / (21 - O2) + B), in %.
    fd_dscf_per_mmbtu: EPA's default, None where it publishes none.   Limits: none.
    Source: 1. BImSchV annex 2 no. 3.4 (Siegert, from memory; LPG .63/.008 also read in the Flemish decree of
    8 December 2006); 40 CFR 75 appendix F, table 1 (F factors, read in an EPA manual).
    """

    siegert_a2: float
    siegert_b: float
    fd_dscf_per_mmbtu: float | None


_NATURAL_GAS: Final = ShortFormula(0.66, 0.009, 8710.0)
_NATURAL_GAS_WITH_HYDROGEN: Final = ShortFormula(0.66, 0.009, None)
_LPG: Final = ShortFormula(0.63, 0.008, 8710.0)


def short_formula(fuel: Fuel) -> ShortFormula | None:
    """The constants published for this kind of fuel, or None: units in ShortFormula.

    Natural gas: 70 % methane or more with hydrogen up to 20 % (from 1 % hydrogen on without EPA's factor);
    LPG: 95 % propane and butanes or more.   Limits: the cuts are this product's own.   Source: see
    ShortFormula.

    >>> from combustion.fuels import FUELS
    >>> short_formula(FUELS["propane"]).siegert_a2
    0.63
    """
    share = fuel.composition
    hydrogen = share.get("hydrogen", 0.0)
    if share.get("methane", 0.0) >= 0.70 and hydrogen <= 0.20 + 1e-9:
        return _NATURAL_GAS if hydrogen < 0.01 else _NATURAL_GAS_WITH_HYDROGEN
    if sum(share.get(name, 0.0) for name in ("propane", "n_butane", "isobutane")) >= 0.95:
        return _LPG
    return None


def epa_fd(fuel: Fuel) -> float:
    """EPA's published Fd [dscf/MMBtu] for this kind of fuel, else the composition's own.

    Limits: none.   Source: 40 CFR 75 appendix F, table 1; Method 19.

    >>> from combustion.fuels import FUELS
    >>> epa_fd(FUELS["natural_gas"])
    8710.0
    """
    published = short_formula(fuel)
    return (published and published.fd_dscf_per_mmbtu) or fuel.fd_dscf_per_mmbtu
