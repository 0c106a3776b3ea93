"""Every row of the computed reference tables: tests/published/README.md says where each comes from."""

from __future__ import annotations

import pytest

from combustion.balance import co2_from_o2, o2_from_phi
from combustion.flue_gas import FlueGasState, flue_gas_state
from combustion.fuels import FUELS, custom_fuel
from combustion.readings import Readings
from tests.combustion.published import TABLE_FUELS, table

ISO_NAMES = {"n-butane": "n_butane", "n-pentane": "n_pentane", "carbon monoxide": "carbon_monoxide"}
ISO_REFERENCES = {"15.55/15.55": "60F"}


def label(row: dict[str, str]) -> str:
    return "-".join(list(row.values())[:4])


def state_of(
    row: dict[str, str], air_ratio: float, flue_temp_c: float, air_temp_c: float, rh: float
) -> FlueGasState:
    fuel = TABLE_FUELS[row["fuel"]]
    readings = Readings(
        o2_pct=o2_from_phi(1.0 / air_ratio, fuel),
        flue_temp_c=flue_temp_c,
        air_temp_c=air_temp_c,
        air_rh_pct=rh,
    )
    return flue_gas_state(readings, fuel)


@pytest.mark.parametrize("row", table("iso6976_pure"), ids=label)
def test_pure_gases_agree_with_iso_6976(row):
    """ISO 6976:2016 method and tables; tolerance half a unit of the table's last digit."""
    name = ISO_NAMES.get(row["component"], row["component"])
    reference = ISO_REFERENCES.get(row["ref(comb/meter)"], row["ref(comb/meter)"])
    got = custom_fuel({name: 1.0}).properties(reference)

    assert got.molar_mass_g_mol == pytest.approx(float(row["M"]), abs=6e-6)
    assert got.compression_factor == pytest.approx(float(row["Z"]), abs=6e-6)
    assert got.gross_kj_mol == pytest.approx(float(row["Hgross_kJmol"]), abs=6e-4)
    assert got.net_kj_mol == pytest.approx(float(row["Hnet_kJmol"]), abs=6e-4)
    assert got.gross_mj_kg == pytest.approx(float(row["Hgross_MJ_kg"]), abs=6e-6)
    assert got.gross_mj_m3 == pytest.approx(float(row["Hgross_MJ_m3"]), abs=6e-6)
    assert got.net_mj_m3 == pytest.approx(float(row["Hnet_MJ_m3"]), abs=6e-6)
    assert got.density_kg_m3 == pytest.approx(float(row["density_kg_m3"]), abs=6e-6)
    assert got.relative_density == pytest.approx(float(row["rel_density"]), abs=6e-6)
    assert got.wobbe_gross_mj_m3 == pytest.approx(float(row["Wobbe_gross_MJ_m3"]), abs=6e-6)
    assert got.wobbe_net_mj_m3 == pytest.approx(float(row["Wobbe_net_MJ_m3"]), abs=6e-6)


@pytest.mark.parametrize("row", table("products_dewpoint"), ids=label)
def test_products_and_dew_point_agree_with_the_mole_balance_table(row):
    """Mole balance with IAPWS-95 saturation; the closed IF97 equation is 0.006 K away from that at most."""
    fuel, air_ratio = TABLE_FUELS[row["fuel"]], float(row["lambda"])
    dry, moist = (state_of(row, air_ratio, 80.0, 20.0, rh) for rh in (0.0, 60.0))

    # the table's column is rounded to 4 digits, and its name carries the oxygen of its air
    assert fuel.stoich_air_mol_per_mol == pytest.approx(
        float(row["stoich_air_mol_per_mol(xO2=0.2095)"]), abs=1e-4
    )
    assert float(dry.value("co2_pct")) == pytest.approx(float(row["CO2_dry_pct"]), abs=6e-4)
    assert float(dry.value("o2_pct")) == pytest.approx(float(row["O2_dry_pct"]), abs=6e-4)
    assert float(dry.value("excess_air_pct")) == pytest.approx(float(row["excess_air_pct"]), abs=1e-9)
    assert float(dry.value("dew_point_c")) == pytest.approx(float(row["dewpoint_C_dryair"]), abs=0.011)
    assert float(moist.value("dew_point_c")) == pytest.approx(float(row["dewpoint_C_60RH20C"]), abs=0.011)
    assert fuel.gross_kj_mol == pytest.approx(float(row["HHV25_kJmol"]), abs=6e-4)
    # the table takes 43.987 kJ/mol of latent heat, ISO 6976 has 44.013: 0.026 per mole of water formed
    assert fuel.net_kj_mol == pytest.approx(float(row["LHV25_kJmol"]), abs=0.027 * fuel.water_mol_per_mol)


@pytest.mark.parametrize("row", table("sensible_loss"), ids=label)
def test_sensible_loss_and_efficiency_agree_with_cantera(row):
    """Enthalpies by Cantera (gri30), whose nitrogen starts at 300 K: 0.013 % apart at 220 °C.

    Flue gas at 60 °C and above only condenses where the dew point is higher; the table leaves that out.
    """
    flue = float(row["flue_C"])
    got = state_of(row, float(row["lambda"]), flue, 20.0, 0.0)

    assert float(got.value("co2_pct")) == pytest.approx(float(row["CO2_dry_pct"]), abs=6e-4)
    if float(got.value("condensed_pct")) > 0.0:
        assert flue < float(got.value("dew_point_c"))
        return
    assert float(got.value("sensible_loss_gross_pct")) == pytest.approx(
        float(row["sens_loss_gross_pct"]), abs=0.014
    )
    assert float(got.value("efficiency_gross_pct")) == pytest.approx(float(row["eff_gross_pct"]), abs=0.014)
    assert float(got.value("efficiency_net_pct")) == pytest.approx(float(row["eff_net_pct"]), abs=0.014)


@pytest.mark.parametrize("row", table("sensible_loss"), ids=label)
def test_siegert_loss_agrees_with_its_short_formula(row):
    """1. BImSchV constants; the table used those of natural gas on every fuel, so LPG is worked out here."""
    got = state_of(row, float(row["lambda"]), float(row["flue_C"]), 20.0, 0.0)
    rise, o2 = float(row["flue_C"]) - 20.0, float(row["O2_dry_pct"])
    if row["fuel"] in ("propane", "n-butane", "LPG_60prop_40nbut"):
        expected = rise * (0.63 / (21.0 - o2) + 0.008)
    else:
        expected = float(row["siegert_net_gas_A2=0.66_B=0.009"])
    assert float(got.value("siegert_loss_net_pct")) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("row", table("condensing"), ids=label)
def test_condensing_states_agree_with_the_enthalpy_table(row):
    """Saturated at flue temperature, IAPWS-95; the closed equations stay near the table's rounding.

    Net efficiency: the table scales by heating values at 25 °C, here the balance is closed at the intake
    air's 20 °C; their ratio differs by 5e-4, hence 0.065 points.
    """
    moist = 60.0 if row["air"] == "60%RH20C" else 0.0
    got = state_of(row, float(row["lambda"]), float(row["flue_C"]), 20.0, moist)

    assert float(got.value("dew_point_c")) == pytest.approx(float(row["dewpoint_C"]), abs=0.011)
    assert float(got.value("condensed_pct")) == pytest.approx(
        float(row["condensed_frac_of_total_water_pct"]), abs=0.02
    )
    assert float(got.value("condensate_kg_per_kwh")) == pytest.approx(
        float(row["condensate_kg_per_kWh_gross"]), abs=6e-5
    )
    assert float(got.value("efficiency_gross_pct")) == pytest.approx(float(row["eff_gross_pct"]), abs=0.003)
    assert float(got.value("efficiency_net_pct")) == pytest.approx(float(row["eff_net_pct"]), abs=0.065)


@pytest.mark.parametrize("row", table("doe_tip4_vs_enthalpy"), ids=label)
def test_efficiency_is_within_eight_tenths_of_the_doe_table(row):
    """US DOE Steam Tip Sheet 4 (READ); neither its fuel nor its reference temperature is stated."""
    fuel = FUELS["natural_gas"]
    air_c = (70.0 - 32.0) / 1.8
    o2 = float(o2_from_phi(1.0 / (1.0 + float(row["excess_air"]) / 100.0), fuel))
    readings = Readings(o2_pct=o2, flue_temp_c=air_c + float(row["dT_F"]) / 1.8, air_temp_c=air_c)
    got = float(flue_gas_state(readings, fuel).value("efficiency_gross_pct"))

    assert o2 == pytest.approx(float(row["O2_table"]), abs=0.05)
    assert got == pytest.approx(float(row["eff_DOE"]), abs=0.8)
    assert got == pytest.approx(float(row["eff_enthalpy_pipelineNG"]), abs=0.05)


def test_epa_oxygen_of_air_moves_co2max_as_the_table_says():
    """Column with 20.9 % O2 in air (products_dewpoint.csv): only the F factors use it here."""
    for row in table("products_dewpoint"):
        if row["lambda"] != "1":
            continue
        fuel = TABLE_FUELS[row["fuel"]]
        implied = 100.0 * fuel.fc_scf_per_mmbtu / fuel.fd_dscf_per_mmbtu
        assert implied == pytest.approx(float(row["CO2_dry_pct_xO2_0.209"]), abs=6e-4)
        assert float(co2_from_o2(0.0, fuel)) > implied
