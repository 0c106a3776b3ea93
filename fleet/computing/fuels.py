"""A gas by its composition, as the addresses tell it."""

import math
from dataclasses import asdict
from typing import Any

from combustion.fuels import Fuel, custom_fuel
from fleet.computing.inputs import PropertiesIn, refused

OF_FUEL = (
    "slug",
    "name",
    "stoich_air_mol_per_mol",
    "stoich_dry_flue_mol_per_mol",
    "water_mol_per_mol",
    "co2_max_pct",
    "fd_dscf_per_mmbtu",
    "fc_scf_per_mmbtu",
    "fw_wscf_per_mmbtu",
    "fo",
    "co2_kg_per_mmbtu",
    "co2_kg_per_kwh_gross",
)


def fuel_answer(fuel: Fuel, reference: str) -> dict[str, Any]:
    """Everything the composition gives, heat and volumes at one reference; null where there is no carbon."""
    of_fuel = {name: getattr(fuel, name) for name in OF_FUEL}
    if math.isinf(fuel.fo):
        of_fuel["fo"] = None
    return of_fuel | {"composition": dict(fuel.composition)} | asdict(fuel.properties(reference))


def properties_answer(asked: PropertiesIn) -> dict[str, Any]:
    """The answer of POST fuels/properties/. Raises Problem `invalid` naming the component or the sum."""
    with refused():
        fuel = custom_fuel(asked.composition, u_composition=asked.u_composition)
        return fuel_answer(fuel, asked.reference)
