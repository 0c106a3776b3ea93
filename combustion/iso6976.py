"""Heating values, density and Wobbe index of a gas mixture, by ISO 6976:2016.

The tables are facts of that standard, read in two independent public transcriptions that agree in every digit
used here (docs/formulas.md, section «gas properties»). Reference pressure 101.325 kPa throughout.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from combustion.arrays import F64
from combustion.errors import OutOfRange

GAS_CONSTANT_J_MOL_K: Final = 8.3144621  # ISO 6976:2016, table A.1
REFERENCE_PRESSURE_KPA: Final = 101.325
ZERO_CELSIUS_K: Final = 273.15
AIR_MOLAR_MASS_G_MOL: Final = 28.96546  # table A.1, dry air
BTU_PER_MJ: Final = 1e6 / 1055.05585262  # international table Btu

U_GAS_CONSTANT: Final = 7.5e-6
U_AIR_MOLAR_MASS: Final = 1.7e-4
U_AIR_COMPRESSION: Final = 1.5e-5

COMPONENTS: Final = (
    "methane",
    "ethane",
    "propane",
    "n_butane",
    "isobutane",
    "n_pentane",
    "isopentane",
    "neopentane",
    "n_hexane",
    "hydrogen",
    "water",
    "hydrogen_sulfide",
    "carbon_monoxide",
    "helium",
    "argon",
    "nitrogen",
    "oxygen",
    "carbon_dioxide",
)

# Table A.2. Columns: molar mass [g/mol], atoms of C, H, N, O, S, and of He + Ar (inert atoms).
_ATOMS: Final = np.array(
    [
        [16.04246, 1, 4, 0, 0, 0, 0],
        [30.06904, 2, 6, 0, 0, 0, 0],
        [44.09562, 3, 8, 0, 0, 0, 0],
        [58.12220, 4, 10, 0, 0, 0, 0],
        [58.12220, 4, 10, 0, 0, 0, 0],
        [72.14878, 5, 12, 0, 0, 0, 0],
        [72.14878, 5, 12, 0, 0, 0, 0],
        [72.14878, 5, 12, 0, 0, 0, 0],
        [86.17536, 6, 14, 0, 0, 0, 0],
        [2.01588, 0, 2, 0, 0, 0, 0],
        [18.01528, 0, 2, 0, 1, 0, 0],
        [34.08088, 0, 2, 0, 0, 1, 0],
        [28.0101, 1, 0, 0, 1, 0, 0],
        [4.002602, 0, 0, 0, 0, 0, 1],
        [39.948, 0, 0, 0, 0, 0, 1],
        [28.0134, 0, 0, 2, 0, 0, 0],
        [31.9988, 0, 0, 0, 2, 0, 0],
        [44.0095, 1, 0, 0, 2, 0, 0],
    ]
)
MOLAR_MASS_G_MOL: Final[F64] = _ATOMS[:, 0]
CARBON, HYDROGEN, NITROGEN, OXYGEN, SULFUR, INERT = _ATOMS[:, 1:].T

# Table A.3. Summation factors at 0, 15, 15.55 and 20 °C, and their standard uncertainty.
_SUMMATION: Final = np.array(
    [
        [0.04886, 0.04452, 0.04437, 0.04317, 0.0005],
        [0.0997, 0.0919, 0.0916, 0.0895, 0.0011],
        [0.1465, 0.1344, 0.1340, 0.1308, 0.0016],
        [0.2022, 0.1840, 0.1834, 0.1785, 0.0039],
        [0.1885, 0.1722, 0.1717, 0.1673, 0.0031],
        [0.2586, 0.2361, 0.2354, 0.2295, 0.0107],
        [0.2458, 0.2251, 0.2244, 0.2189, 0.0088],
        [0.2245, 0.2040, 0.2033, 0.1979, 0.0060],
        [0.3319, 0.3001, 0.2990, 0.2907, 0.0271],
        [-0.01, -0.01, -0.01, -0.01, 0.0250],
        [0.3093, 0.2562, 0.2546, 0.2419, 0.0150],
        [0.1006, 0.0923, 0.0920, 0.0898, 0.0023],
        [0.0258, 0.0217, 0.0215, 0.0203, 0.0010],
        [-0.01, -0.01, -0.01, -0.01, 0.0250],
        [0.0307, 0.0273, 0.0272, 0.0262, 0.0010],
        [0.0214, 0.0170, 0.0169, 0.0156, 0.0010],
        [0.0311, 0.0276, 0.0275, 0.0265, 0.0010],
        [0.0821, 0.0752, 0.0749, 0.0730, 0.0020],
    ]
)
_SUMMATION_AT_C: Final = {0.0: 0, 15.0: 1, 15.55: 2, 20.0: 3}
_AIR_COMPRESSION: Final = (0.999419, 0.999595, 0.999601, 0.999645)  # table A.1

# Table A.4. Ideal-gas molar gross heating value at 0, 15, 15.55, 20 and 25 °C, and its standard uncertainty.
_GROSS_KJ_MOL: Final = np.array(
    [
        [892.92, 891.51, 891.46, 891.05, 890.58, 0.19],
        [1564.35, 1562.14, 1562.06, 1561.42, 1560.69, 0.51],
        [2224.03, 2221.10, 2220.99, 2220.13, 2219.17, 0.51],
        [2883.35, 2879.76, 2879.63, 2878.58, 2877.40, 0.72],
        [2874.21, 2870.58, 2870.45, 2869.39, 2868.20, 0.72],
        [3542.91, 3538.60, 3538.45, 3537.19, 3535.77, 0.23],
        [3536.01, 3531.68, 3531.52, 3530.25, 3528.83, 0.23],
        [3521.75, 3517.44, 3517.28, 3516.02, 3514.61, 0.25],
        [4203.24, 4198.24, 4198.06, 4196.60, 4194.95, 0.32],
        [286.64, 286.15, 286.13, 285.99, 285.83, 0.02],
        [45.064, 44.431, 44.408, 44.222, 44.013, 0.004],
        [562.93, 562.38, 562.36, 562.19, 562.01, 0.23],
        [282.80, 282.91, 282.91, 282.95, 282.98, 0.06],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
    ]
)
_GROSS_AT_C: Final = {0.0: 0, 15.0: 1, 15.55: 2, 20.0: 3, 25.0: 4}
_WATER_VAPORISATION_KJ_MOL: Final = (45.064, 44.431, 44.408, 44.222, 44.013)

# Combustion and metering temperature [°C].
REFERENCES: Final[Mapping[str, tuple[float, float]]] = {
    "15/15": (15.0, 15.0),
    "25/0": (25.0, 0.0),
    "0/0": (0.0, 0.0),
    "25/20": (25.0, 20.0),
    "60F": (15.55, 15.55),
}


@dataclass(frozen=True)
class GasProperties:
    """Properties of one gas at one reference, units in the names; `u_…`: standard uncertainties.

    Volumes are real gas at the metering temperature and 101.325 kPa; gross and net (superior and inferior)
    heating values at the combustion temperature. Limits: those of ISO 6976:2016 (Z > 0.9). Source: ISO
    6976:2016.
    """

    reference: str
    molar_mass_g_mol: float
    compression_factor: float
    gross_kj_mol: float
    u_gross_kj_mol: float
    net_kj_mol: float
    gross_mj_kg: float
    net_mj_kg: float
    gross_mj_m3: float
    u_gross_mj_m3: float
    net_mj_m3: float
    density_kg_m3: float
    relative_density: float
    wobbe_gross_mj_m3: float
    u_wobbe_gross_mj_m3: float
    wobbe_net_mj_m3: float


def gross_kj_mol(fractions: F64, combustion_c: float = 25.0) -> float:
    """Ideal-gas molar gross heating value [kJ/mol] at 0, 15, 15.55, 20 or 25 °C.

    fractions: mole fractions in the order of COMPONENTS, shape (18,).   Limits: the five temperatures above
    (OutOfRange otherwise).   Source: ISO 6976:2016, equation 2 and table A.4.

    >>> gross_kj_mol(np.eye(18)[0])
    890.58
    """
    return float(fractions @ _GROSS_KJ_MOL[:, _column(_GROSS_AT_C, "combustion_c", combustion_c)])


def net_kj_mol(fractions: F64, combustion_c: float = 25.0) -> float:
    """Ideal-gas molar net heating value [kJ/mol]: gross less the latent heat of the water formed.

    fractions: mole fractions in the order of COMPONENTS, shape (18,).   Limits: 0, 15, 15.55, 20 or 25 °C
    (OutOfRange otherwise).   Source: ISO 6976:2016, equation 3.

    >>> round(net_kj_mol(np.eye(18)[0]), 3)
    802.554
    """
    column = _column(_GROSS_AT_C, "combustion_c", combustion_c)
    return gross_kj_mol(fractions, combustion_c) - _water_kj_mol(fractions, column)


def gas_properties(fractions: F64, u_fractions: F64, reference: str = "15/15") -> GasProperties:
    """All properties of a mixture at a reference such as "15/15" (combustion/metering temperature, °C).

    fractions, u_fractions: mole fractions and their standard uncertainties (uncorrelated) in the order of
    COMPONENTS, shape (18,).   Limits: a reference of REFERENCES, else OutOfRange.
    Uncertainties: analysis and the standard's own tables, annex B.   Source: ISO 6976:2016.

    >>> round(gas_properties(np.eye(18)[0], np.zeros(18)).gross_mj_m3, 5)
    37.77911
    """
    if reference not in REFERENCES:
        raise OutOfRange("reference", reference, "one of " + ", ".join(REFERENCES), code="unknown_reference")
    combustion_c, metering_c = REFERENCES[reference]
    heat = _GROSS_AT_C[combustion_c]
    meter = _SUMMATION_AT_C[metering_c]

    summation = float(fractions @ _SUMMATION[:, meter])
    compression = 1.0 - summation**2
    molar_mass = float(fractions @ MOLAR_MASS_G_MOL)
    molar_volume = GAS_CONSTANT_J_MOL_K * (metering_c + ZERO_CELSIUS_K) / REFERENCE_PRESSURE_KPA  # [L/mol]
    real_volume = compression * molar_volume
    gross = gross_kj_mol(fractions, combustion_c)
    net = net_kj_mol(fractions, combustion_c)
    relative_density = molar_mass / AIR_MOLAR_MASS_G_MOL * _AIR_COMPRESSION[meter] / compression
    root_density = np.sqrt(relative_density)
    relative_u = _RelativeUncertainty(fractions, u_fractions, heat, meter, gross, molar_mass, summation)
    return GasProperties(
        reference=reference,
        molar_mass_g_mol=molar_mass,
        compression_factor=compression,
        gross_kj_mol=gross,
        u_gross_kj_mol=relative_u.molar() * gross,
        net_kj_mol=net,
        gross_mj_kg=gross / molar_mass,
        net_mj_kg=net / molar_mass,
        gross_mj_m3=gross / real_volume,
        u_gross_mj_m3=relative_u.volumetric() * gross / real_volume,
        net_mj_m3=net / real_volume,
        density_kg_m3=molar_mass / real_volume,
        relative_density=relative_density,
        wobbe_gross_mj_m3=float(gross / real_volume / root_density),
        u_wobbe_gross_mj_m3=float(relative_u.wobbe() * gross / real_volume / root_density),
        wobbe_net_mj_m3=float(net / real_volume / root_density),
    )


@dataclass(frozen=True)
class _RelativeUncertainty:
    """Relative standard uncertainties of gross heating value and Wobbe index (annex B of the standard)."""

    fractions: F64
    u_fractions: F64
    heat: int
    meter: int
    gross: float
    molar_mass: float
    summation: float

    def molar(self) -> float:
        return self._combine(self._heat_share(), self._heat_table())

    def volumetric(self) -> float:
        sensitivity = self._heat_share() + 2.0 * self._compression_share()
        return self._combine(
            sensitivity, self._heat_table(), 4.0 * self._compression_table(), self._gas_constant()
        )

    def wobbe(self) -> float:
        sensitivity = (
            self._heat_share() + self._compression_share() - MOLAR_MASS_G_MOL / (2.0 * self.molar_mass)
        )
        air = (U_AIR_MOLAR_MASS / AIR_MOLAR_MASS_G_MOL / 2.0) ** 2
        air += (U_AIR_COMPRESSION / _AIR_COMPRESSION[self.meter] / 2.0) ** 2
        return self._combine(
            sensitivity,
            self._heat_table(),
            self._compression_table(),
            self._gas_constant(),
            self._molar_mass_table() / 4.0,
            air,
        )

    def _combine(self, sensitivity: F64, *variances: float) -> float:
        return float(np.sqrt(np.sum((sensitivity * self.u_fractions) ** 2) + sum(variances)))

    def _heat_share(self) -> F64:
        return np.asarray(_GROSS_KJ_MOL[:, self.heat] / self.gross)

    def _compression_share(self) -> F64:
        return np.asarray(_SUMMATION[:, self.meter] * self.summation / (1.0 - self.summation**2))

    def _heat_table(self) -> float:
        return float(np.sum((self.fractions * _GROSS_KJ_MOL[:, 5]) ** 2)) / self.gross**2

    def _compression_table(self) -> float:
        spread = float(np.sum((self.fractions * _SUMMATION[:, 4]) ** 2))
        return spread * (self.summation / (1.0 - self.summation**2)) ** 2

    def _molar_mass_table(self) -> float:
        # Standard uncertainties of the atomic masses [g/mol], section on molar mass of the standard.
        atomic = ((CARBON, 4e-4), (HYDROGEN, 3.5e-5), (NITROGEN, 1e-4), (OXYGEN, 1.5e-4), (SULFUR, 2.5e-3))
        spread = sum((float(self.fractions @ atoms) * u) ** 2 for atoms, u in atomic)
        return spread / self.molar_mass**2

    def _gas_constant(self) -> float:
        return (U_GAS_CONSTANT / GAS_CONSTANT_J_MOL_K) ** 2


def _water_kj_mol(fractions: F64, column: int) -> float:
    return float(fractions @ HYDROGEN) / 2.0 * _WATER_VAPORISATION_KJ_MOL[column]


def _column(columns: Mapping[float, int], field: str, temperature_c: float) -> int:
    if temperature_c not in columns:
        allowed = ", ".join(f"{t:g}" for t in columns)
        raise OutOfRange(field, temperature_c, f"one of {allowed} °C", code="unknown_reference")
    return columns[temperature_c]
