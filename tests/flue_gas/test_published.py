"""The published tables asked over REST: tests/published/README.md says where each figure comes from."""

import pytest

from combustion.balance import o2_from_phi
from tests.combustion.published import TABLE_FUELS, figures, table

SLUGS = {name: fuel.slug for name, fuel in TABLE_FUELS.items()}
FAHRENHEIT_70_C = (70.0 - 32.0) / 1.8
ISO_NAMES = {"n-butane": "n_butane", "n-pentane": "n_pentane", "carbon monoxide": "carbon_monoxide"}


def gas_of(name):
    fuel = TABLE_FUELS[name]
    return {"composition": dict(fuel.composition)} if fuel.slug == "custom" else {"fuel": fuel.slug}


def o2_of(name, air_ratio):
    return float(o2_from_phi(1.0 / air_ratio, TABLE_FUELS[name]))


def value(answer, name):
    assert answer[name].keys() >= {"value", "u"}
    return answer[name]["value"]


@pytest.fixture
def asked(flue_gas):
    """The answer for a row of the computed tables: its gas and air ratio, and these readings."""

    def ask(row, **readings):
        air_ratio = float(row["lambda"])
        return flue_gas(**gas_of(row["fuel"]), o2_pct=o2_of(row["fuel"], air_ratio), **readings)

    return ask


def test_products_and_dew_points_are_those_of_the_mole_balance_table(asked):
    for row in table("products_dewpoint"):
        got = asked(row, air_temp_c=20.0)
        moist = asked(row, air_temp_c=20.0, air_rh_pct=60.0)
        assert value(got, "air_ratio") == pytest.approx(float(row["lambda"]), abs=1e-9)
        assert value(got, "co2_pct") == pytest.approx(float(row["CO2_dry_pct"]), abs=6e-4)
        assert value(got, "dew_point_c") == pytest.approx(float(row["dewpoint_C_dryair"]), abs=0.011)
        assert value(moist, "dew_point_c") == pytest.approx(float(row["dewpoint_C_60RH20C"]), abs=0.011)


def test_losses_above_the_dew_point_are_canteras_and_the_short_formula_stands_beside(asked):
    """Enthalpies by Cantera's gri30; Siegert with the constants of 1. BImSchV (natural gas, MEMORY)."""
    compared = 0
    for row in table("sensible_loss"):
        got = asked(row, flue_temp_c=float(row["flue_C"]), air_temp_c=20.0)
        if value(got, "condensed_pct") > 0.0:
            continue
        compared += 1
        loss, efficiency = float(row["sens_loss_gross_pct"]), float(row["eff_net_pct"])
        assert value(got, "sensible_loss_gross_pct") == pytest.approx(loss, abs=0.014)
        assert value(got, "efficiency_net_pct") == pytest.approx(efficiency, abs=0.014)
        if row["fuel"] in ("methane", "pipeline_NG"):
            short = float(row["siegert_net_gas_A2=0.66_B=0.009"])
            assert value(got, "siegert_loss_net_pct") == pytest.approx(short, abs=1e-3)
    assert compared > 100


def test_condensing_states_are_those_of_the_enthalpy_table(asked):
    """Tolerances as in tests/combustion/test_published_tables.py, which argues them."""
    for row in table("condensing"):
        humidity = 60.0 if row["air"] == "60%RH20C" else 0.0
        got = asked(row, flue_temp_c=float(row["flue_C"]), air_temp_c=20.0, air_rh_pct=humidity)
        share = float(row["condensed_frac_of_total_water_pct"])
        kilograms = float(row["condensate_kg_per_kWh_gross"])
        assert value(got, "condensed_pct") == pytest.approx(share, abs=0.02)
        assert value(got, "condensate_kg_per_kwh") == pytest.approx(kilograms, abs=6e-5)
        assert value(got, "efficiency_gross_pct") == pytest.approx(float(row["eff_gross_pct"]), abs=0.003)
        assert value(got, "efficiency_net_pct") == pytest.approx(float(row["eff_net_pct"]), abs=0.065)


def test_efficiency_is_within_eight_tenths_of_the_doe_tip_sheet(flue_gas):
    """US DOE Steam Tip Sheet 4 (READ); its gas and reference are not stated, ours is higher throughout."""
    for row in table("doe_tip4_vs_enthalpy"):
        got = flue_gas(
            fuel="natural_gas",
            o2_pct=o2_of("pipeline_NG", 1.0 + float(row["excess_air"]) / 100.0),
            flue_temp_c=FAHRENHEIT_70_C + float(row["dT_F"]) / 1.8,
            air_temp_c=FAHRENHEIT_70_C,
        )
        assert 0.0 < value(got, "efficiency_gross_pct") - float(row["eff_DOE"]) < 0.8


def test_tip_sheets_saving_is_had_from_its_own_efficiencies(flue_gas):
    """R066 (READ): 78.2 → 83.1 % is 1 - 78.2/83.1 of the fuel; ours for the same two states, within 0.2."""
    sheet_pct = 100.0 * (1.0 - 78.2 / 83.1)
    hot, cool = 500.0 / 1.8, 300.0 / 1.8
    got = flue_gas(
        fuel="natural_gas",
        o2_pct=o2_of("pipeline_NG", 1.449),
        flue_temp_c=FAHRENHEIT_70_C + 400.0 / 1.8,
        air_temp_c=FAHRENHEIT_70_C,
        what_if={"return_temp_change_k": cool - 400.0 / 1.8, "excess_air_pct": 9.5},
    )
    assert hot > cool
    assert got["what_if"]["fuel_saved_pct"]["value"] == pytest.approx(sheet_pct, abs=0.2)


@pytest.mark.parametrize(("number", "quantity", "ppm"), [("R050", "co", 1.0), ("R051", "nox", 1.0)])
def test_a_part_per_million_in_mg_per_kwh_is_the_conversion_tables(flue_gas, number, quantity, ppm):
    """R050 1.074 for CO (natural gas; READ, cut off), R051 1.764 for NOx on G20 (MEMORY; COMPUTED 1.7636)."""
    expected = figures(number)[0]
    got = flue_gas(fuel="methane", o2_pct=0.0 if quantity == "nox" else 1e-4, **{f"{quantity}_ppm": ppm})
    assert value(got, f"{quantity}_mg_per_kwh_net") == pytest.approx(expected, abs=6e-4)


def test_epa_method_19_stands_beside_the_mole_balance(flue_gas):
    """R018, R020 (READ): E = 1.194e-7 ppm 8710 20.9/(20.9 - O2); 82.34 ppm at 3 % O2 is 0.1 lb/MMBtu."""
    got = flue_gas(fuel="natural_gas", o2_pct=3.0, nox_ppm=82.34)
    beside = got["method19"]
    assert beside["nox_lb_per_mmbtu"]["value"] == pytest.approx(0.1, abs=5e-5)
    assert beside["fd_dscf_per_mmbtu"] == figures("R001")[0]
    assert 0.5 < beside["above_mole_balance_pct"]["value"] < 1.2


def test_air_free_carbon_monoxide_is_the_ansi_factor_but_for_the_oxygen_of_air(flue_gas):
    """R047 (READ): 50 ppm at 7 % O2 is 75.2 air-free with 20.9 % O2 in air; 75.1 with 20.95."""
    got = flue_gas(fuel="natural_gas", o2_pct=7.0, co_ppm=50.0)
    assert value(got, "co_air_free_ppm") == pytest.approx(50.0 * 20.95 / 13.95, rel=3e-4)
    assert value(got, "co_air_free_ppm") == pytest.approx(75.2, abs=0.15)


def test_properties_of_pure_gases_are_iso_6976s_at_every_reference(post):
    """ISO 6976:2016 method and tables (COMPUTED from READ tables); half a unit of the last digit."""
    names = {
        "gross_mj_m3": "Hgross_MJ_m3",
        "net_mj_m3": "Hnet_MJ_m3",
        "gross_mj_kg": "Hgross_MJ_kg",
        "relative_density": "rel_density",
        "density_kg_m3": "density_kg_m3",
        "wobbe_gross_mj_m3": "Wobbe_gross_MJ_m3",
        "wobbe_net_mj_m3": "Wobbe_net_MJ_m3",
    }
    for row in table("iso6976_pure"):
        gas = ISO_NAMES.get(row["component"], row["component"])
        reference = {"15.55/15.55": "60F"}.get(row["ref(comb/meter)"], row["ref(comb/meter)"])
        status, got = post("fuels/properties", {"composition": {gas: 1.0}, "reference": reference})
        assert status == 200, got
        for name, column in names.items():
            assert got[name] == pytest.approx(float(row[column]), abs=6e-6), (gas, reference, name)


@pytest.mark.parametrize("example", ["1", "3"])
def test_annex_d_of_iso_6976_is_met_to_its_last_digit(post, example):
    """ISO 6976:2016 annex D, with uncertainties (READ in two transcriptions that agree)."""
    parts = [row for row in table("iso6976_annex_d") if row["example"] == example]
    for row in table("iso6976_annex_d_results"):
        if row["example"] != example:
            continue
        body = {
            "composition": {part["component"]: float(part["fraction"]) for part in parts},
            "u_composition": {part["component"]: float(part["u"]) for part in parts},
            "reference": row["reference"],
        }
        status, got = post("fuels/properties", body)
        assert status == 200, got
        assert got[row["property"]] == pytest.approx(float(row["value"]), abs=float(row["tolerance"]))


def test_epa_factors_of_the_catalogue_stand_near_epas(post):
    """40 CFR 75 appendix F, table 1 (READ): a default per family, within 2.5 % of the composition's own."""
    for number, slug in (("R001", "natural_gas"), ("R004", "propane"), ("R007", "n_butane")):
        fd, fc = figures(number)
        status, got = post("fuels/properties", {"composition": dict(_composition(slug)), "reference": "60F"})
        assert status == 200
        assert got["fd_dscf_per_mmbtu"] == pytest.approx(fd, rel=0.025)
        assert got["fc_scf_per_mmbtu"] == pytest.approx(fc, rel=0.025)


def test_carbon_per_heat_stands_near_part_98(post):
    """R025: 53.06 kg CO2/MMBtu (40 CFR 98 table C-1, READ); the carbon balance gives 52.91."""
    status, got = post("fuels/properties", {"composition": dict(_composition("natural_gas"))})
    assert status == 200
    assert got["co2_kg_per_mmbtu"] == pytest.approx(figures("R025")[0], rel=0.004)


def _composition(slug):
    return next(fuel.composition for fuel in TABLE_FUELS.values() if fuel.slug == slug)


@pytest.mark.parametrize(("seconds", "expected_kw"), [(80.0, 13.7)])
def test_a_clocked_cubic_foot_is_the_published_example(post, seconds, expected_kw):
    """R113 (READ): 1 ft³ in 80 s of 1040 Btu/ft³ gas is 45 ft³/h and 13.7 kW; ours corrects nothing else."""
    cubic_foot_m3, btu_per_ft3_in_mj_m3 = 0.3048**3, 1055.05585262e-6 / 0.3048**3
    body = {
        "fuel": "natural_gas",
        "volume_m3": cubic_foot_m3,
        "seconds": seconds,
        "gross_mj_m3": 1040.0 * btu_per_ft3_in_mj_m3,
        "meter_temp_c": 15.0,
        "pressure_hpa": 1013.25,
    }
    status, got = post("gas-rate", body)
    assert status == 200, got
    assert got["rate_m3_h"]["value"] / cubic_foot_m3 == pytest.approx(45.0, abs=1e-9)
    assert got["gross_kw"]["value"] == pytest.approx(expected_kw, abs=0.05)
