"""The same figures by general-purpose libraries: Cantera 3.2, chemicals 1.5, CoolProp 8.0."""

from __future__ import annotations

from functools import cache

import cantera as ct
import numpy as np
import pytest
from chemicals import Hfg
from chemicals.combustion import combustion_data, combustion_stoichiometry
from CoolProp import CoolProp
from CoolProp.HumidAirProp import HAPropsSI

from combustion import enthalpy, season, water
from combustion.balance import air_ratio_from_co2, co2_from_o2, o2_from_phi
from combustion.flue_gas import flue_gas_state
from combustion.fuels import FUELS, Fuel, custom_fuel
from combustion.readings import Readings

P = ct.one_atm
SPECIES = {
    "methane": "CH4",
    "ethane": "C2H6",
    "propane": "C3H8",
    "n_butane": "C4H10,n-butane",
    "hydrogen": "H2",
    "carbon_monoxide": "CO",
    "nitrogen": "N2",
    "carbon_dioxide": "CO2",
}
GASES = {
    "methane": custom_fuel({"methane": 1.0}),
    "ethane": custom_fuel({"ethane": 1.0}),
    "propane": custom_fuel({"propane": 1.0}),
    "n_butane": custom_fuel({"n_butane": 1.0}),
    "hydrogen": custom_fuel({"hydrogen": 1.0}),
    "blend": custom_fuel(
        {"methane": 0.6, "ethane": 0.1, "hydrogen": 0.2, "nitrogen": 0.06, "carbon_dioxide": 0.04}
    ),
}


@cache
def all_species() -> dict[str, ct.Species]:
    return {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}


@pytest.fixture(scope="module")
def gas() -> ct.Solution:
    wanted = {*SPECIES.values(), "O2", "H2O", "Ar", "SO2"}
    return ct.Solution(thermo="ideal-gas", species=[all_species()[name] for name in sorted(wanted)])


def moles_of_reactants(fuel: Fuel, air_ratio: float) -> dict[str, float]:
    moles = {SPECIES[name]: x for name, x in fuel.composition.items()}
    air = air_ratio * fuel.stoich_air_mol_per_mol
    moles["O2"] = moles.get("O2", 0.0) + 0.2095 * air
    moles["N2"] = moles.get("N2", 0.0) + 0.7905 * air
    return moles


def moles_of_products(fuel: Fuel, air_ratio: float) -> dict[str, float]:
    """By element counts of Cantera's own species, not by this package's balance."""
    species = {name: s.composition for name, s in all_species().items()}
    atoms = {"C": 0.0, "H": 0.0, "O": 0.0, "N": 0.0}
    for name, amount in moles_of_reactants(fuel, air_ratio).items():
        for element, count in species[name].items():
            atoms[element] += amount * count
    oxygen = (atoms["O"] - 2.0 * atoms["C"] - atoms["H"] / 2.0) / 2.0
    return {"CO2": atoms["C"], "H2O": atoms["H"] / 2.0, "N2": atoms["N"] / 2.0, "O2": oxygen}


def heat_content(gas: ct.Solution, moles: dict[str, float], temp_c: float) -> float:
    """Enthalpy of an amount of gas [kJ]."""
    gas.TPX = temp_c + 273.15, P, {name: n for name, n in moles.items() if n > 0.0}
    return gas.enthalpy_mole * sum(moles.values()) / 1e6


@pytest.mark.parametrize("name", GASES)
@pytest.mark.parametrize("air_ratio", [1.0, 1.1, 1.3, 1.6, 2.5])
def test_dry_products_agree_with_cantera_element_counts(name, air_ratio):
    """Exact stoichiometry on both sides: rounding only."""
    fuel = GASES[name]
    products = moles_of_products(fuel, air_ratio)
    dry = sum(n for species, n in products.items() if species != "H2O")
    o2_pct = max(100.0 * products["O2"] / dry, 0.0)
    assert float(o2_from_phi(1.0 / air_ratio, fuel)) == pytest.approx(o2_pct, abs=1e-9)
    assert float(co2_from_o2(o2_pct, fuel)) == pytest.approx(100.0 * products["CO2"] / dry, abs=1e-9)


@pytest.mark.parametrize("name", GASES)
@pytest.mark.parametrize("air_ratio", [1.05, 1.3, 2.0])
@pytest.mark.parametrize(("flue_c", "air_c"), [(80.0, -10.0), (110.0, 20.0), (250.0, 35.0), (600.0, 5.0)])
def test_net_efficiency_agrees_with_an_enthalpy_balance_by_cantera(gas, name, air_ratio, flue_c, air_c):
    """Useful heat = H(reactants at intake) - H(products at flue), over H(reactants) - H(products) at intake.

    Cantera's formation enthalpies cancel but for the heating value; ISO's differs by up to 0.08 %. With the
    fuel's own heat capacity taken from the standard's 0 and 25 °C columns: 0.02 points together.
    """
    fuel = GASES[name]
    reactants, products = moles_of_reactants(fuel, air_ratio), moles_of_products(fuel, air_ratio)
    come_in = heat_content(gas, reactants, air_c)
    useful = come_in - heat_content(gas, products, flue_c)
    net = come_in - heat_content(gas, products, air_c)

    readings = Readings(o2_pct=o2_from_phi(1.0 / air_ratio, fuel), flue_temp_c=flue_c, air_temp_c=air_c)
    got = flue_gas_state(readings, fuel)
    assert float(got.value("condensed_pct")) == 0.0
    assert float(got.value("efficiency_net_pct")) == pytest.approx(100.0 * useful / net, abs=0.02)


@pytest.mark.parametrize("name", ["methane", "ethane", "propane", "n_butane", "hydrogen"])
def test_net_heating_values_agree_with_cantera(gas, name):
    """NASA formation enthalpies against ISO 6976: 0.1 % (n-butane the worst)."""
    fuel = GASES[name]
    reactants, products = moles_of_reactants(fuel, 1.0), moles_of_products(fuel, 1.0)
    net = heat_content(gas, reactants, 25.0) - heat_content(gas, products, 25.0)
    assert fuel.net_kj_mol == pytest.approx(net, rel=1e-3)


def test_sensible_heat_of_sulphurous_and_inert_gas_agrees_with_cantera(gas):
    fuel = custom_fuel({"methane": 0.8, "hydrogen_sulfide": 0.1, "argon": 0.1})
    rows = enthalpy.heat_and_capacity(fuel, np.array([20.0, 300.0]))
    products = {"CO2": 0.8, "H2O": 1.7, "SO2": 0.1, "Ar": 0.1, "N2": 0.7905 * fuel.stoich_air_mol_per_mol}
    rise = heat_content(gas, products, 300.0) - heat_content(gas, products, 20.0)
    assert rows[0, 1] - rows[0, 0] == pytest.approx(rise, rel=1e-6)


def test_no_dissociation_at_flue_temperatures():
    """Ignoring dissociation: Cantera's equilibrium at 700 °C leaves under 1 ppm of CO and H2."""
    flue = ct.Solution("gri30.yaml")
    flue.TPX = 973.15, P, moles_of_products(FUELS["methane"], 1.05)
    flue.equilibrate("TP")
    assert flue["CO"].X[0] < 1e-6
    assert flue["H2"].X[0] < 1e-6


@pytest.mark.parametrize(
    ("name", "formula", "cas"),
    [
        ("methane", {"C": 1, "H": 4}, "74-82-8"),
        ("ethane", {"C": 2, "H": 6}, "74-84-0"),
        ("propane", {"C": 3, "H": 8}, "74-98-6"),
        ("n_butane", {"C": 4, "H": 10}, "106-97-8"),
        ("isobutane", {"C": 4, "H": 10}, "75-28-5"),
        ("n_pentane", {"C": 5, "H": 12}, "109-66-0"),
        ("isopentane", {"C": 5, "H": 12}, "78-78-4"),
        ("neopentane", {"C": 5, "H": 12}, "463-82-1"),
        ("n_hexane", {"C": 6, "H": 14}, "110-54-3"),
    ],
)
def test_heating_values_and_stoichiometry_agree_with_chemicals(name, formula, cas):
    """Heats of formation of its default source against ISO 6976: 0.1 % of the gross value."""
    fuel = custom_fuel({name: 1.0})
    counts = combustion_stoichiometry(formula)
    assert fuel.stoich_o2_mol_per_mol == pytest.approx(-counts["O2"], abs=1e-12)
    assert fuel.carbon == pytest.approx(counts["CO2"], abs=1e-12)
    assert fuel.water_mol_per_mol == pytest.approx(counts["H2O"], abs=1e-12)
    by_formation = combustion_data(formula, Hf=Hfg(cas))
    assert fuel.gross_kj_mol == pytest.approx(-by_formation.HHV / 1000.0, rel=1e-3)
    assert fuel.net_kj_mol == pytest.approx(-by_formation.LHV / 1000.0, rel=1e-3)


@pytest.mark.parametrize("temp_c", [0.01, 5.0, 20.0, 35.0, 50.0, 60.0, 80.0, 100.0, 119.0])
def test_saturation_agrees_with_coolprop(temp_c):
    """IF97's closed equation against IAPWS-95: 0.01 % and 0.003 K."""
    by_coolprop = CoolProp.PropsSI("P", "T", temp_c + 273.15, "Q", 0, "Water") / 100.0
    assert float(water.saturation_pressure_hpa(temp_c)) == pytest.approx(by_coolprop, rel=1e-4)
    assert float(water.dew_point_c(by_coolprop)) == pytest.approx(temp_c, abs=3e-3)


@pytest.mark.parametrize("temp_c", [25.0, 40.0, 55.0])
def test_latent_heat_agrees_with_coolprop(temp_c):
    """A line through ISO's 0 and 25 °C against IAPWS-95: 0.15 % up to 55 °C."""
    vapour, liquid = (CoolProp.PropsSI("Hmolar", "T", temp_c + 273.15, "Q", q, "Water") for q in (1, 0))
    assert float(water.latent_kj_mol(temp_c)) == pytest.approx((vapour - liquid) / 1000.0, rel=1.5e-3)


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "hpa"), [(20.0, 60.0, 1013.25), (30.0, 90.0, 950.0), (5.0, 50.0, 800.0)]
)
def test_humid_air_agrees_with_coolprop(temp_c, rh_pct, hpa):
    """ASHRAE humid air has the enhancement factor of real gas, 0.4 to 0.5 %, that ideal gas leaves out."""
    ratio = HAPropsSI("W", "T", temp_c + 273.15, "R", rh_pct / 100.0, "P", hpa * 100.0)
    by_coolprop = ratio * 28.966 / 18.01528
    assert float(water.humidity_mol_per_mol(temp_c, rh_pct, hpa)) == pytest.approx(by_coolprop, rel=6e-3)


@pytest.mark.parametrize(("temp_c", "hpa"), [(26.85, 35.3658941), (226.85, 26388.9776), (99.605919, 1000.0)])
def test_saturation_meets_the_check_values_of_iapws_if97(temp_c, hpa):
    """IAPWS R7-97(2012) tables 35 and 36 (from memory): 300 K, 500 K; 0.1 MPa at 372.755919 K."""
    pressure, _ = water.saturation_with_slope(np.array(temp_c))
    assert float(pressure) == pytest.approx(hpa, rel=3e-8)
    back, _ = water.dew_point_with_slope(np.array(hpa))
    assert float(back) == pytest.approx(temp_c, abs=2e-6)


@pytest.mark.parametrize(
    ("moist", "air_c", "shift"), [(0.0, 0.0, -0.34), (0.0, 30.0, 0.17), (0.6, 30.0, 0.37)]
)
def test_seasonal_shift_agrees_with_flows_by_cantera_densities(gas, moist, air_c, shift):
    """Set to 9 % CO2 at dry 20 °C; then another intake air, gas pressure held to air pressure.

    Both flow as the root of density at one pressure difference; densities are Cantera's, the burnt mixture
    counted from its moles. shift: the figure itself, % CO2, to 0.02 (design: 20 K colder -0.34, moisture of
    30 °C and 60 % +0.20 beside the warmth).
    """
    fuel = FUELS["methane"]

    def air_moles(temp_c: float, humidity: float) -> float:
        """Dry air [mol] that flows per second through one orifice at one pressure difference."""
        share = humidity * CoolProp.PropsSI("P", "T", temp_c + 273.15, "Q", 0, "Water") / P
        gas.TPX = temp_c + 273.15, P, {"O2": 0.2095 * (1 - share), "N2": 0.7905 * (1 - share), "H2O": share}
        return float(np.sqrt(gas.density) / gas.mean_molecular_weight * (1 - share))

    at_20 = air_moles(20.0, 0.0)
    air_ratio = float(air_ratio_from_co2(9.0, fuel)) * air_moles(air_c, moist) / at_20
    moles = moles_of_reactants(fuel, air_ratio)
    co2_pct = 100.0 * moles["CH4"] / (moles["CH4"] + moles["N2"] + moles["O2"] - 2.0 * moles["CH4"])
    factor = season.ln_air_factor(air_c, 100.0 * moist) - season.ln_air_factor(20.0)
    assert float(season.co2_after(9.0, fuel, factor)) == pytest.approx(co2_pct, abs=0.005)
    assert co2_pct - 9.0 == pytest.approx(shift, abs=0.02)
