"""Fuels by composition: heating values, combustion air, products, EPA F factors; and the catalogue."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Final

import numpy as np

from combustion import iso6976
from combustion.arrays import F64
from combustion.errors import OutOfRange
from combustion.iso6976 import COMPONENTS, GasProperties

AIR_O2_FRACTION: Final = 0.2095  # dry air, the rest counted as nitrogen (US Standard Atmosphere, rounded)
EPA_AIR_O2_FRACTION: Final = 0.209  # 40 CFR 60 appendix A-7, Method 19
COMPOSITION_SUM_TOLERANCE: Final = 1e-3  # a chromatograph's rounding; more is a mistake
LEAST_NET_KJ_MOL: Final = 1.0  # a thousandth of natural gas; leaner gas burns in no burner (own cut)

_KJ_PER_MMBTU: Final = 1.05505585262e6
_STANDARD_CUBIC_FEET_PER_MOL: Final = 385.3 / 453.59237  # EPA standard state, 20 °C and 29.92 inHg
_CARBON_DIOXIDE_G_MOL: Final = 44.0095


@dataclass(frozen=True)
class Fuel:
    """A gaseous fuel, known by its composition alone.

    composition: mole fractions by component name (see COMPONENTS), summing to 1 within 0.001 and then scaled
    to exactly 1.   u_composition: their standard uncertainties (missing = 0).   Limits: fractions 0 to 1,
    1 kJ/mol of net heat or more; else OutOfRange naming the component.   Basis: one mole of fuel; products
    dry unless said. Source: mole balance of complete combustion; ISO 6976:2016 for heat; air 20.95 % O2.

    >>> round(Fuel("methane", "Methane", {"methane": 1.0}).co2_max_pct, 3)
    11.701
    """

    slug: str
    name: str
    composition: Mapping[str, float] = field(hash=False)
    u_composition: Mapping[str, float] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        total = _checked_total(self.composition)
        _check_uncertainties(self.u_composition)
        scaled = {name: float(x) / total for name, x in self.composition.items() if x > 0.0}
        object.__setattr__(self, "composition", MappingProxyType(scaled))
        object.__setattr__(self, "u_composition", MappingProxyType(dict(self.u_composition)))
        if self.stoich_o2_mol_per_mol <= 0.0 or self.net_kj_mol < LEAST_NET_KJ_MOL:
            raise OutOfRange("composition", total, "a gas that burns in air", code="not_a_fuel")

    def __reduce__(self) -> tuple[type[Fuel], tuple[object, ...]]:
        return type(self), (self.slug, self.name, dict(self.composition), dict(self.u_composition))

    @cached_property
    def fractions(self) -> F64:
        """Mole fractions [mol/mol] in the order of COMPONENTS. Limits: sum 1. Source: the composition."""
        return np.array([self.composition.get(name, 0.0) for name in COMPONENTS])

    @cached_property
    def carbon(self) -> float:
        """Carbon atoms [mol/mol fuel]. Limits: 0 for pure hydrogen. Source: the composition."""
        return float(self.fractions @ iso6976.CARBON)

    @cached_property
    def stoich_o2_mol_per_mol(self) -> float:
        """Oxygen for complete combustion [mol/mol]. Limits: positive. Source: C + H/4 + S - O/2."""
        burns = iso6976.CARBON + iso6976.HYDROGEN / 4.0 + iso6976.SULFUR - iso6976.OXYGEN / 2.0
        return float(self.fractions @ burns)

    @cached_property
    def stoich_air_mol_per_mol(self) -> float:
        """Dry combustion air [mol/mol] at 20.95 % O2. Limits: positive. Source: mole balance."""
        return self.stoich_o2_mol_per_mol / AIR_O2_FRACTION

    @cached_property
    def water_mol_per_mol(self) -> float:
        """Water formed and brought by the fuel [mol/mol]. Limits: none below 0. Source: mole balance."""
        return float(self.fractions @ iso6976.HYDROGEN) / 2.0

    @cached_property
    def dry_products_less_air(self) -> float:
        """What burning one mole adds to the dry volume of its air [mol/mol]. Limits: may be negative.

        Dry flue gas without CO is this plus air ratio times stoichiometric air. Source: mole balance.
        """
        stays_dry = iso6976.CARBON + iso6976.SULFUR + iso6976.NITROGEN / 2.0 + iso6976.INERT
        return float(self.fractions @ stays_dry) - self.stoich_o2_mol_per_mol

    @cached_property
    def stoich_dry_flue_mol_per_mol(self) -> float:
        """Dry products of stoichiometric combustion [mol/mol]. Limits: positive. Source: mole balance."""
        return self.dry_products_less_air + self.stoich_air_mol_per_mol

    @cached_property
    def co2_max_pct(self) -> float:
        """CO2 in dry stoichiometric products [vol %]. Limits: 0 for hydrogen. Source: mole balance."""
        return 100.0 * self.carbon / self.stoich_dry_flue_mol_per_mol

    @cached_property
    def gross_kj_mol(self) -> float:
        """Gross heating value, ideal gas at 25 °C [kJ/mol]. Limits: positive. Source: ISO 6976:2016."""
        return iso6976.gross_kj_mol(self.fractions)

    @cached_property
    def gross_slope_kj_mol_k(self) -> float:
        """Change of the gross heating value per kelvin, 0 to 25 °C [kJ/(mol K)]. Limits: small, negative for
        hydrocarbons. Source: ISO 6976:2016, table A.4.
        """
        return (self.gross_kj_mol - iso6976.gross_kj_mol(self.fractions, 0.0)) / 25.0

    @cached_property
    def net_kj_mol(self) -> float:
        """Net heating value, ideal gas at 25 °C [kJ/mol]. Limits: positive. Source: ISO 6976:2016."""
        return iso6976.net_kj_mol(self.fractions)

    @cached_property
    def molar_mass_g_mol(self) -> float:
        """Molar mass [g/mol]. Limits: positive. Source: ISO 6976:2016, table A.2."""
        return float(self.fractions @ iso6976.MOLAR_MASS_G_MOL)

    @cached_property
    def fd_dscf_per_mmbtu(self) -> float:
        """Dry stoichiometric flue gas per gross heat [dscf/MMBtu] at 20 °C, 29.92 inHg and 20.9 % O2 in air.

        Limits: positive. Source: 40 CFR 60 appendix A-7, Method 19 (definition), from composition.
        """
        return self._epa_dry_flue * self._dscf_per_mmbtu

    @cached_property
    def fc_scf_per_mmbtu(self) -> float:
        """Carbon dioxide per gross heat [scf/MMBtu] at 20 °C, 29.92 inHg. Limits: none below 0.

        Source: 40 CFR 60 appendix A-7, Method 19 (definition), from composition.
        """
        return self.carbon * self._dscf_per_mmbtu

    @cached_property
    def fw_wscf_per_mmbtu(self) -> float:
        """Wet stoichiometric flue gas per gross heat, dry air [wscf/MMBtu]. Limits: positive.

        Source: 40 CFR 60 appendix A-7, Method 19 (definition), from composition.
        """
        return (self._epa_dry_flue + self.water_mol_per_mol) * self._dscf_per_mmbtu

    @cached_property
    def fo(self) -> float:
        """EPA fuel factor (20.9 - O2)/CO2 of dry flue gas [-]. Limits: infinite without carbon.

        Source: 40 CFR 60 appendix A-2, Method 3B; 0.209 Fd/Fc.
        """
        if self.carbon == 0.0:
            return float("inf")
        return EPA_AIR_O2_FRACTION * self.fd_dscf_per_mmbtu / self.fc_scf_per_mmbtu

    @cached_property
    def co2_kg_per_mmbtu(self) -> float:
        """Carbon dioxide per gross heat [kg/MMBtu]. Limits: none below 0. Source: carbon balance."""
        return self.carbon * _CARBON_DIOXIDE_G_MOL / 1000.0 * self._mol_per_mmbtu

    @cached_property
    def co2_kg_per_kwh_gross(self) -> float:
        """Carbon dioxide per gross heat [kg/kWh]. Limits: none below 0. Source: carbon balance."""
        return self.carbon * _CARBON_DIOXIDE_G_MOL / 1000.0 * 3600.0 / self.gross_kj_mol

    def properties(self, reference: str = "15/15") -> GasProperties:
        """Heating values, density, Wobbe index at a reference: 15/15, 25/0, 0/0, 25/20 (°C) or 60F.

        Limits: those five, else OutOfRange. Volumes real gas at 101.325 kPa. Source: ISO 6976:2016.

        >>> round(FUELS["methane"].properties("60F").wobbe_gross_mj_m3, 3)
        50.624
        """
        u = np.array([self.u_composition.get(name, 0.0) for name in COMPONENTS])
        return iso6976.gas_properties(self.fractions, u, reference)

    @property
    def _epa_dry_flue(self) -> float:
        return self.dry_products_less_air + self.stoich_o2_mol_per_mol / EPA_AIR_O2_FRACTION

    @property
    def _mol_per_mmbtu(self) -> float:
        return _KJ_PER_MMBTU / self.gross_kj_mol

    @property
    def _dscf_per_mmbtu(self) -> float:
        return self._mol_per_mmbtu * _STANDARD_CUBIC_FEET_PER_MOL


def custom_fuel(
    composition: Mapping[str, float],
    *,
    u_composition: Mapping[str, float] | None = None,
    slug: str = "custom",
    name: str = "Custom mixture",
) -> Fuel:
    """A fuel from a supplier's analysis: mole fractions by component name, and their standard uncertainties.

    Limits: known components, each 0 to 1, sum 1 within 0.001; else OutOfRange naming the component.
    Source: the supplier's analysis.

    >>> custom_fuel({"methane": 0.9, "nitrogen": 0.1}).composition["nitrogen"]
    0.1
    """
    return Fuel(slug, name, composition, u_composition or {})


def fuel(slug: str) -> Fuel:
    """The catalogue's fuel; no unit. Limits: a slug of FUELS, else OutOfRange. Source: docs/formulas.md.

    >>> fuel("propane").name
    'Propane'
    """
    if slug not in FUELS:
        raise OutOfRange("fuel", slug, "one of " + ", ".join(FUELS), code="unknown_fuel")
    return FUELS[slug]


def _checked_total(composition: Mapping[str, float]) -> float:
    for name, fraction in composition.items():
        if name not in COMPONENTS:
            raise OutOfRange(
                f"composition.{name}",
                fraction,
                "a component among " + ", ".join(COMPONENTS),
                code="unknown_component",
            )
        if not 0.0 <= fraction <= 1.0 + COMPOSITION_SUM_TOLERANCE:
            raise OutOfRange(f"composition.{name}", fraction, "a mole fraction from 0 to 1")
    total = float(sum(composition.values()))
    if not abs(total - 1.0) <= COMPOSITION_SUM_TOLERANCE:
        raise OutOfRange(
            "composition",
            round(total, 6),
            f"mole fractions summing to 1 within {COMPOSITION_SUM_TOLERANCE:g}",
            code="composition_sum",
        )
    return total


def _check_uncertainties(u_composition: Mapping[str, float]) -> None:
    for name, u in u_composition.items():
        if name not in COMPONENTS:
            raise OutOfRange(
                f"u_composition.{name}",
                u,
                "a component among " + ", ".join(COMPONENTS),
                code="unknown_component",
            )
        if not 0.0 <= u <= 1.0:
            raise OutOfRange(f"u_composition.{name}", u, "a standard uncertainty from 0 to 1")


# Illustrative pipeline gas, not a standard one: its CO2max (11.83 %) lies between pure methane (11.70 %) and
# what EPA's factors imply (11.94 %), its gross heating value (1,013 Btu/ft3) within 2 % of EPA's default of
# 1,026.
_NATURAL_GAS: Final = {
    "methane": 0.9490,
    "ethane": 0.0250,
    "propane": 0.0020,
    "n_butane": 0.0003,
    "isobutane": 0.0003,
    "n_pentane": 0.0001,
    "isopentane": 0.0001,
    "nitrogen": 0.0160,
    "carbon_dioxide": 0.0070,
    "oxygen": 0.0002,
}


def _blend(hydrogen: float) -> dict[str, float]:
    natural = {name: x * (1.0 - hydrogen) for name, x in _NATURAL_GAS.items()}
    return natural | {"hydrogen": hydrogen}


FUELS: Final[Mapping[str, Fuel]] = MappingProxyType(
    {
        f.slug: f
        for f in (
            Fuel("natural_gas", "Natural gas", _NATURAL_GAS),
            Fuel("methane", "Methane", {"methane": 1.0}),
            Fuel("propane", "Propane", {"propane": 1.0}),
            Fuel("n_butane", "n-Butane", {"n_butane": 1.0}),
            Fuel("lpg_mix", "LPG, 60 % propane and 40 % n-butane", {"propane": 0.6, "n_butane": 0.4}),
            Fuel("natural_gas_h2_05", "Natural gas with 5 % hydrogen", _blend(0.05)),
            Fuel("natural_gas_h2_10", "Natural gas with 10 % hydrogen", _blend(0.10)),
            Fuel("natural_gas_h2_20", "Natural gas with 20 % hydrogen", _blend(0.20)),
        )
    }
)
