"""The simulator's own physics: full mole balance of its gas, trims, months and intake air."""

from __future__ import annotations

import numpy as np

# Pipeline natural gas, mole fractions (an illustrative gas, no standard): CH4, C2H6, C3H8, nC4, CO2, N2.
CARBON_PER_MOL = 0.949 + 2 * 0.025 + 3 * 0.002 + 4 * 0.001 + 0.007
OXYGEN_PER_MOL = 2 * 0.949 + 3.5 * 0.025 + 5 * 0.002 + 6.5 * 0.001
NITROGEN_PER_MOL = 0.016
AIR_OXYGEN = 0.2095
AIR_PER_MOL = OXYGEN_PER_MOL / AIR_OXYGEN
DRY_FLUE_PER_MOL = CARBON_PER_MOL + NITROGEN_PER_MOL + AIR_PER_MOL * (1 - AIR_OXYGEN)

REFERENCE_K = 288.15


def co2_pct_of_ln_phi(ln_phi: np.ndarray) -> np.ndarray:
    """Dry CO2, vol %, by full mole balance of lean combustion with dry air."""
    excess = np.exp(-ln_phi) - 1.0
    return 100.0 * CARBON_PER_MOL / (DRY_FLUE_PER_MOL + AIR_PER_MOL * excess)


def ln_phi_of_co2_pct(co2_pct: np.ndarray) -> np.ndarray:
    excess = (100.0 * CARBON_PER_MOL / co2_pct - DRY_FLUE_PER_MOL) / AIR_PER_MOL
    return -np.log1p(excess)


def ln_point_factor(w: np.ndarray, rate: np.ndarray | float) -> np.ndarray:
    """The offset's part of ln phi at an air rate; held positive where an offset would shut the gas."""
    return 0.5 * np.log(np.maximum(1.0 + w / np.asarray(rate) ** 2, 0.05))


def offset_for(difference: np.ndarray, turndown: np.ndarray) -> np.ndarray:
    """Offset over signal that makes ln phi differ by that much between low and high fire."""
    ratio2 = np.exp(2.0 * difference)
    return (ratio2 - 1.0) / (turndown**2 - ratio2)


def air_temp_c(day: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Intake air: a yearly swing about 12 °C and a day's weather."""
    return 12.0 + 10.0 * np.sin(2 * np.pi * (day / 365.25 - 0.3)) + rng.normal(0.0, 3.0, day.shape)


def short_phi(co2_pct: np.ndarray) -> np.ndarray:
    """phi by the short relation 9.52 c / (1 + c), exact for methane in dry air only."""
    c = co2_pct / 100.0
    return 9.52 * c / (1.0 + c)


def short_ln_phi_per_co2_pct(co2_pct: np.ndarray) -> np.ndarray:
    return 1.0 / (co2_pct * (1.0 + co2_pct / 100.0))
