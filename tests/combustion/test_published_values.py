"""Single published figures, by their number in tests/published/values.csv (source and mark stand there)."""

from __future__ import annotations

import numpy as np
import pytest

from combustion import altitude, emissions, metering, season, units, water
from combustion.acceptance import inside_probability
from combustion.analyser import EN_50379
from combustion.balance import o2_from_phi, phi_from_o2
from combustion.flue_gas import flue_gas_state
from combustion.fuels import FUELS, custom_fuel
from combustion.published import short_formula
from combustion.readings import Readings
from tests.combustion.published import TABLE_FUELS, figures, table

GAS = FUELS["natural_gas"]
FAHRENHEIT_60, FAHRENHEIT_80, FAHRENHEIT_90 = ((f - 32.0) / 1.8 for f in (60.0, 80.0, 90.0))


@pytest.mark.parametrize(
    ("number", "slug", "fd_apart", "fc_apart"),
    [
        ("R001", "natural_gas", -0.0065, -0.018),
        ("R004", "propane", 0.017, 0.019),
        ("R007", "n_butane", 0.023, -0.004),
    ],
)
def test_f_factors_from_composition_stand_as_far_from_epa_as_documented(number, slug, fd_apart, fc_apart):
    """40 CFR 75 appendix F, table 1 (READ): a rounded default per family, not a composition."""
    fd, fc = figures(number)
    fuel = FUELS[slug]
    assert fuel.fd_dscf_per_mmbtu / fd - 1.0 == pytest.approx(fd_apart, abs=1e-3)
    assert fuel.fc_scf_per_mmbtu / fc - 1.0 == pytest.approx(fc_apart, abs=1e-3)


@pytest.mark.parametrize(
    ("slug", "low", "high"),
    [("natural_gas", 1.600, 1.836), ("propane", 1.434, 1.586), ("n_butane", 1.405, 1.553)],
)
def test_fo_lies_in_epas_range(slug, low, high):
    """R015, Method 3B ranges (MEMORY)."""
    assert {low, high} <= set(figures("R015"))
    assert low < FUELS[slug].fo < high


def test_fo_of_pure_gases():
    """R015: methane 1.791, propane 1.527, n-butane 1.494 (COMPUTED)."""
    for slug, fo in (("methane", 1.791), ("propane", 1.527), ("n_butane", 1.494)):
        assert FUELS[slug].fo == pytest.approx(fo, abs=6e-4)


def test_wet_factor_of_natural_gas_is_within_two_per_cent_of_epa():
    """R013 (MEMORY): 10,610 wscf/MMBtu; EPA's gas is not ours."""
    assert GAS.fw_wscf_per_mmbtu == pytest.approx(figures("R013")[0], rel=0.02)


def test_metric_fd_is_the_same_factor():
    """R014: 8710 dscf/MMBtu is 2.338e-7 dscm/J."""
    dscm_per_j = 8710.0 * 0.3048**3 / 1.05505585262e9
    assert dscm_per_j == pytest.approx(2.338e-7, rel=2e-4)
    assert figures("R014")[0] == pytest.approx(dscm_per_j, rel=2e-3)


def test_method_19_oxygen_basis_uses_the_published_constant():
    """R018 (READ) with R020: E = K ppm Fd 20.9/(20.9 - O2)."""
    (k,) = figures("R020")
    assert float(emissions.method19_o2(100.0, "nox", 3.0, 8710.0)) == pytest.approx(
        k * 100.0 * 8710.0 * 20.9 / 17.9, rel=1e-12
    )


def test_method_19_carbon_dioxide_basis_agrees_with_oxygen_basis_on_the_fuel_line():
    """R019 (READ); both bases meet where CO2 = Fc/Fd (20.9 - O2)/20.9."""
    fd, fc = GAS.fd_dscf_per_mmbtu, GAS.fc_scf_per_mmbtu
    co2 = 100.0 * fc / fd * (20.9 - 3.0) / 20.9
    by_o2 = emissions.method19_o2(50.0, "co", 3.0, fd)
    by_co2 = emissions.method19_co2(50.0, "co", co2, fc)
    assert float(by_co2) == pytest.approx(float(by_o2), rel=1e-12)


def test_carbon_monoxide_constant_of_method_19_follows_from_the_molar_volume():
    """R022: 28.0 / 385.3e6."""
    assert float(emissions.method19_o2(1.0, "co", 0.0, 1.0)) == pytest.approx(28.0 / 385.3e6, rel=1e-3)
    assert figures("R022")[0] == pytest.approx(7.268e-8)


def test_carbon_dioxide_per_heat_is_within_half_a_per_cent_of_part_98():
    """R025 (READ): 53.06 kg/MMBtu for natural gas; the composition gives 52.91."""
    assert GAS.co2_kg_per_mmbtu == pytest.approx(figures("R025")[0], rel=0.005)


def test_propane_carbon_is_two_per_cent_above_part_98():
    """61.46 kg/MMBtu for propane gas (READ): the carbon of pure propane is 2 % higher."""
    assert FUELS["propane"].co2_kg_per_mmbtu / 61.46 - 1.0 == pytest.approx(0.021, abs=0.002)


@pytest.mark.parametrize(("slug", "place"), [("natural_gas", 0), ("propane", 1)])
def test_heating_value_per_cubic_foot_is_near_epas_default(slug, place):
    """R026 (READ): 1.026e-3 and 2.516e-3 MMBtu/scf; other gases, EPA's foot at another temperature: 3 %."""
    btu = float(units.to_us(FUELS[slug].properties("60F").gross_mj_m3, "mj_m3"))
    assert btu == pytest.approx(figures("R026")[place] * 1e6, rel=0.03)


@pytest.mark.parametrize(
    ("number", "component"),
    [
        ("R028", "methane"),
        ("R029", "ethane"),
        ("R030", "propane"),
        ("R031", "n_butane"),
        ("R032", "isobutane"),
        ("R033", "hydrogen"),
        ("R034", "carbon_monoxide"),
    ],
)
def test_molar_heating_values_are_those_of_the_standard(number, component):
    """ISO 6976:2016 table 3/A.4 (READ); the row rounds the net value, or takes another latent heat: 0.06."""
    fuel = custom_fuel({component: 1.0})
    at_0, at_15, at_25, net = figures(number)
    assert fuel.properties("0/0").gross_kj_mol == pytest.approx(at_0, abs=1e-9)
    assert fuel.properties("15/15").gross_kj_mol == pytest.approx(at_15, abs=1e-9)
    assert fuel.gross_kj_mol == pytest.approx(at_25, abs=1e-9)
    assert fuel.net_kj_mol == pytest.approx(net, abs=0.06)


def test_latent_heat_of_water_follows_the_standards_table():
    """R035, ISO 6976:2016 (READ): a straight line through its ends is 0.003 kJ/mol from the rest."""
    expected = figures("R035")
    assert water.latent_kj_mol([0.0, 15.0, 20.0, 25.0]).tolist() == pytest.approx(list(expected), abs=3e-3)


@pytest.mark.parametrize(
    ("slug", "by_mole", "by_mass"), [("methane", 0, 17.24), ("propane", 1, 15.68), ("n_butane", 2, 15.46)]
)
def test_stoichiometric_air(slug, by_mole, by_mass):
    """R043, R044: mole balance and textbook rounding (READ + COMPUTED)."""
    fuel = FUELS[slug]
    assert fuel.stoich_air_mol_per_mol == pytest.approx(figures("R043")[by_mole], rel=1e-4)
    # the mass figures were worked out with air as 20.95 % O2 and nitrogen of 28.0134, not 28.965
    air_g_mol = 0.2095 * 31.9988 + 0.7905 * 28.0134
    assert fuel.stoich_air_mol_per_mol * air_g_mol / fuel.molar_mass_g_mol == pytest.approx(by_mass, abs=0.08)


def test_co2max_lies_where_trade_tables_have_it():
    """R045 (READ + COMPUTED)."""
    assert FUELS["methane"].co2_max_pct == pytest.approx(11.70, abs=5e-3)
    assert FUELS["propane"].co2_max_pct == pytest.approx(13.72, abs=5e-3)
    assert FUELS["n_butane"].co2_max_pct == pytest.approx(14.02, abs=5e-3)
    assert 11.7 <= GAS.co2_max_pct <= 12.0


def test_hydrogen_blend_of_methane():
    """R046 (COMPUTED)."""
    blend = TABLE_FUELS["CH4_80_H2_20"]
    co2_max, ratio = figures("R046")[0], 1.1147
    assert blend.co2_max_pct == pytest.approx(co2_max, abs=5e-3)
    assert blend.gross_kj_mol / blend.net_kj_mol == pytest.approx(ratio, abs=1e-3 / 5)


def test_air_free_carbon_monoxide_of_the_american_example():
    """R047 (READ): 50 ppm at 7 % O2 is 75 ppm with 20.9 %; on the mole balance with 20.95 % it is 75.1."""
    assert float(emissions.at_reference_o2(50.0, 7.0, air_o2_pct=20.9)) == pytest.approx(75.18, abs=0.01)
    state = flue_gas_state(Readings(o2_pct=7.0, co_ppm=50.0), GAS)
    assert float(state.value("co_air_free_ppm")) == pytest.approx(figures("R047")[0], abs=0.2)


def test_european_reference_oxygen():
    """R048 (READ): E (21 - ref)/(21 - O2)."""
    assert float(emissions.at_reference_o2(100.0, 5.0, 3.0, air_o2_pct=21.0)) == pytest.approx(112.5)


@pytest.mark.parametrize(
    ("slug", "pollutant", "number", "place"),
    [("methane", "co", "R050", 0), ("methane", "nox", "R051", 0)],
)
def test_milligrams_per_kilowatt_hour_of_one_ppm_air_free(slug, pollutant, number, place):
    """EN conversion tables (MEMORY + COMPUTED): 1.074 and 1.764 mg/kWh net per ppm at 0 % O2."""
    got = emissions.per_heat(1.0, pollutant, 0.0, FUELS[slug]).mg_per_kwh_net
    assert float(got) == pytest.approx(figures(number)[place], abs=6e-4)


def test_milligrams_per_cubic_metre_of_one_ppm():
    """R052: M / 22.414 (COMPUTED)."""
    co, nox = figures("R052")
    assert float(emissions.mg_per_m3(1.0, "co")) == pytest.approx(co, abs=5e-4)
    assert float(emissions.mg_per_m3(1.0, "nox")) == pytest.approx(nox, abs=5e-4)


def test_pounds_per_million_btu_in_nanograms_per_joule():
    """R053: unit identity."""
    assert float(units.from_us(1.0, "ng_j")) == pytest.approx(figures("R053")[0], abs=5e-3)


@pytest.mark.parametrize(("pollutant", "place", "published"), [("nox", 823.4, 832.0), ("co", 1353.0, 1367.0)])
def test_ppm_per_pound_at_three_per_cent_oxygen(pollutant, place, published):
    """R054, R055 (READ): EPA's Fd exactly, the other author 1 % higher (21 % oxygen, another fuel)."""
    per_ppm = float(emissions.method19_o2(1.0, pollutant, 3.0, 8710.0))
    assert 1.0 / per_ppm == pytest.approx(place, abs=0.6)
    balance = float(emissions.per_heat(1.0, pollutant, 3.0, GAS).lb_per_mmbtu)
    assert 1.0 / balance == pytest.approx(published, rel=0.02)


@pytest.mark.parametrize(
    ("number", "excess"), [("R056", 0.0), ("R057", 10.0), ("R058", 20.0), ("R059", 30.0)]
)
def test_wet_flue_gas_of_a_typical_natural_gas(number, excess):
    """A published table (READ), moist air of unstated humidity and gas of unstated composition: 0.5 points.

    Wet shares follow from the dry ones and the dew point's vapour share, which is p_sat / p.
    """
    co2, h2o, n2, o2 = figures(number)
    assert co2 + h2o + n2 + o2 == pytest.approx(100.0, abs=0.02)
    readings = Readings(
        o2_pct=o2_from_phi(1.0 / (1.0 + excess / 100.0), GAS), air_temp_c=27.0, air_rh_pct=60.0
    )
    state = flue_gas_state(readings, GAS)
    vapour = float(water.saturation_pressure_hpa(state.value("dew_point_c"))) / 1013.25
    assert 100.0 * vapour == pytest.approx(h2o, abs=0.6)
    assert float(state.value("co2_pct")) * (1.0 - vapour) == pytest.approx(co2, abs=0.2)
    assert float(state.value("o2_pct")) * (1.0 - vapour) == pytest.approx(o2, abs=0.15)


def test_excess_air_against_oxygen_of_the_doe_tip_sheet():
    """R060 (READ): 9.5, 15.0, 28.1, 44.9, 81.6 % at 2, 3, 5, 7, 10 % O2; the sheet rounds both."""
    numbers = figures("R060")
    excess, oxygen = np.array(numbers[:5]), np.array(numbers[5:10])
    phi, _ = phi_from_o2(oxygen, GAS)
    assert (100.0 * (1.0 / phi - 1.0)).tolist() == pytest.approx(excess.tolist(), abs=0.55)


def test_saving_of_the_doe_example():
    """R066: 500,000 MMBtu/yr, 78.2 to 83.1 %, 29,482 MMBtu/yr."""
    assert pytest.approx(figures("R066")[0], abs=1.0) == 500_000.0 * (1.0 - 78.2 / 83.1)


def test_rule_of_thumb_of_one_per_cent_per_fifteen_per_cent_excess_air_or_forty_fahrenheit():
    """R067 (READ), a rule of thumb: at a hot flue (260 °C) right within 15 %."""
    fuel = GAS
    base, air, warmer = (
        float(
            flue_gas_state(Readings(o2_pct=o, flue_temp_c=t, air_temp_c=21.0), fuel).value(
                "efficiency_gross_pct"
            )
        )
        for o, t in ((3.0, 260.0), (float(o2_from_phi(1 / 1.30, fuel)), 260.0), (3.0, 260.0 + 40 / 1.8))
    )
    assert base - air == pytest.approx(1.0, abs=0.15)
    assert base - warmer == pytest.approx(1.0, abs=0.1)


def test_siegert_constants_are_the_decided_ones():
    """R068 Flanders .65 (READ) against R069 1. BImSchV .66 (MEMORY): .66, nearer to the enthalpy balance."""
    assert 0.65 in figures("R068")
    assert {0.66, 0.009} <= set(figures("R069"))
    gas, lpg = short_formula(GAS), short_formula(FUELS["propane"])
    assert gas is not None
    assert lpg is not None
    assert (gas.siegert_a2, gas.siegert_b) == (0.66, 0.009)
    assert (lpg.siegert_a2, lpg.siegert_b) == (0.63, 0.008)


def test_sensible_losses_of_pipeline_gas():
    """R073 (COMPUTED with Cantera): net 2.851 … 9.646, gross 2.572 … 8.700 at 80, 120, 180, 220 °C."""
    numbers = figures("R073")
    flue = np.array([60.0, 80.0, 120.0, 180.0, 220.0])
    state = flue_gas_state(Readings(o2_pct=o2_from_phi(1 / 1.2, GAS), flue_temp_c=flue, air_temp_c=20.0), GAS)
    gross = state.value("sensible_loss_gross_pct")
    net = 100.0 - state.value("efficiency_net_pct")
    assert gross.tolist() == pytest.approx(list(numbers[5:10]), abs=0.014)
    assert net.tolist() == pytest.approx(list(numbers[:5]), abs=0.014)


def test_siegert_stays_near_the_enthalpy_balance():
    """R074 (COMPUTED): within 0.17 points from 60 to 220 °C."""
    flue = np.linspace(60.0, 220.0, 17)
    state = flue_gas_state(Readings(o2_pct=3.814, flue_temp_c=flue, air_temp_c=20.0), GAS)
    apart = state.value("siegert_loss_net_pct") - (100.0 - state.value("efficiency_net_pct"))
    assert np.abs(apart).max() < figures("R074")[0]


def test_dew_point_of_natural_gas():
    """R077 (READ): about 57 °C; 57.15 °C at air ratio 1.1."""
    state = flue_gas_state(Readings(o2_pct=o2_from_phi(1 / 1.1, GAS)), GAS)
    assert float(state.value("dew_point_c")) == pytest.approx(57.15, abs=0.011)


def test_water_formed_per_pound_of_methane():
    """R081 (READ): 2.25."""
    fuel = FUELS["methane"]
    formed = fuel.water_mol_per_mol * water.MOLAR_MASS_G_MOL / fuel.molar_mass_g_mol
    assert formed == pytest.approx(figures("R081")[0], abs=5e-3)


def test_saturation_pressures():
    """R082, IAPWS-95 (COMPUTED): 20, 25, 50, 60, 100 °C in kPa."""
    got = water.saturation_pressure_hpa([20.0, 25.0, 50.0, 60.0, 100.0]) / 10.0
    assert got.tolist() == pytest.approx(list(figures("R082")), rel=1e-4)


def test_latent_heat_per_kilogram():
    """R083, IAPWS-95 (COMPUTED), 25 and 50 °C; the ideal-gas value is 0.06 % higher at 25 °C."""
    got = water.latent_kj_mol([25.0, 50.0]) / water.MOLAR_MASS_G_MOL * 1000.0
    assert got.tolist() == pytest.approx(list(figures("R083")), rel=2e-3)


def test_condensing_boiler_example():
    """R084 (COMPUTED): methane at 1.25, flue 35, 45, 50 °C; net efficiency see the condensing table."""
    methane = FUELS["methane"]
    state = flue_gas_state(
        Readings(o2_pct=o2_from_phi(1 / 1.25, methane), flue_temp_c=[35.0, 45.0, 50.0], air_temp_c=20.0),
        methane,
    )
    assert state.value("condensed_pct").tolist() == pytest.approx([67.84, 42.82, 24.11], abs=0.02)
    assert state.value("efficiency_net_pct").tolist() == pytest.approx([106.6, 103.3, 101.1], abs=0.1)


def test_the_most_that_condensing_can_gain():
    """R085: 11 % of net heat on methane."""
    assert FUELS["methane"].gross_kj_mol / FUELS["methane"].net_kj_mol - 1.0 == pytest.approx(0.11, abs=0.002)


def test_class_limits_are_those_recalled():
    """R094, EN 50379-2 (MEMORY): O2 0.3, CO 20 ppm or 5 %, temperature 2 °C or 1 %."""
    assert {0.3, 20.0, 5.0, 2.0, 1.0} <= set(figures("R094"))
    assert float(EN_50379.error_limit("o2_pct", 4.0)) == 0.3
    assert EN_50379.error_limit("co_ppm", [100.0, 1000.0]).tolist() == [20.0, 50.0]
    assert EN_50379.error_limit("flue_temp_c", [60.0, 300.0]).tolist() == [2.0, 3.0]


def test_one_sided_conformance_probabilities():
    """R102: normal quantiles of JCGM 106 table 1, rounded to two decimals."""
    z = np.array(figures("R102"))
    got = inside_probability(0.0, 1.0, upper=z)
    assert got.tolist() == pytest.approx([0.80, 0.90, 0.95, 0.99, 0.999], abs=1.5e-3)


@pytest.mark.parametrize(
    ("number", "feet"),
    [("R103", 0), ("R104", 1000), ("R105", 2000), ("R106", 3000), ("R107", 5000), ("R108", 8000)],
)
def test_pressure_of_the_standard_atmosphere(number, feet):
    """ISO 2533 (COMPUTED)."""
    hpa, inches, _ = figures(number)
    got = altitude.pressure_hpa_at(feet * 0.3048)
    assert float(got) == pytest.approx(hpa, abs=6e-3)
    assert float(units.to_us(got, "hpa")) == pytest.approx(inches, abs=6e-4)


def test_heights_of_pressure_levels():
    """R109 (READ): 540, 988, 1949 m at 950, 900, 800 hPa."""
    assert altitude.elevation_m_of([950.0, 900.0, 800.0]).tolist() == pytest.approx(
        list(figures("R109")), abs=0.6
    )


def test_altitude_derating_counts_from_sea_level():
    """R110 (READ): 4 % per 1000 ft above sea level, only above 2000 ft: 16 % at 4000 ft, not 8 %."""
    feet = np.array([1000.0, 2000.0, 4000.0, 6000.0])
    share = altitude.input_share_at(feet * 0.3048)
    assert share.tolist() == pytest.approx([1.0, 1.0, 0.84, 0.76])


def test_canadian_derating_is_ten_per_cent_between_its_heights():
    """R111 (READ)."""
    assert altitude.input_share_at(np.array([1000.0, 3000.0]) * 0.3048, "canada").tolist() == pytest.approx(
        [1.0, 0.9]
    )


@pytest.mark.parametrize(("feet3", "seconds", "per_hour"), [(1, 80, 45.0), (0.5, 29, 62.07), (1, 20, 180.0)])
def test_clocking_a_dial(feet3, seconds, per_hour):
    """R112, R113, R114, R116 (READ): 3600 x dial / time."""
    got = metering.clocked_input(float(units.from_us(feet3, "m3")), seconds, GAS)
    assert float(units.to_us(got.rate_m3_h, "m3_h")) == pytest.approx(per_hour, abs=0.01)


def test_clocked_input_of_the_imperial_example():
    """R113 (READ): 1 ft³ in 80 s at 1040 Btu/ft³ is 46,800 Btu/h or 13.7 kW, at base conditions."""
    got = metering.clocked_input(
        float(units.from_us(1.0, "m3")), 80.0, GAS, gross_mj_m3=float(units.from_us(1040.0, "mj_m3"))
    )
    assert float(units.to_us(got.gross_kw, "kw")) == pytest.approx(46_800.0, rel=1e-6)
    assert float(got.gross_kw) == pytest.approx(13.7, abs=0.05)


def test_british_billing_formula():
    """R115 (READ): 100 m³ x 1.02264 x 39.3 MJ/m³ = 4018.975 MJ; a meter at 12.2 °C and 21 mbar."""
    got = metering.clocked_input(100.0, 3600.0, GAS, gross_mj_m3=39.3)
    assert float(got.gross_kw) * 3.6 * 1.02264 == pytest.approx(4018.975, abs=1e-3)
    metered = metering.clocked_input(
        100.0, 3600.0, GAS, meter_temp_c=12.2, meter_gauge_mbar=21.0, pressure_hpa=1005.7, gross_mj_m3=39.3
    )
    assert float(metered.base_rate_m3_h) == pytest.approx(102.264, abs=0.1)


@pytest.mark.parametrize(
    ("number", "place", "before", "from_c", "to_c"),
    [
        ("R118", 0, 3.0, FAHRENHEIT_60, FAHRENHEIT_90),
        ("R119", 1, 3.0, FAHRENHEIT_80, (40.0 - 32.0) / 1.8),
        ("R120", 2, 4.5, (70.0 - 32.0) / 1.8, (0.0 - 32.0) / 1.8),
    ],
)
def test_intake_air_temperature_moves_oxygen(number, place, before, from_c, to_c):
    """R118 to R120 constant volume, R121 root of density (COMPUTED, a choice of model)."""
    constant, pneumatic = (
        season.ln_air_factor(to_c, control=control) - season.ln_air_factor(from_c, control=control)
        for control in ("constant_volume", "pneumatic")
    )
    assert float(season.o2_after(before, GAS, constant)) == pytest.approx(figures(number)[0], abs=0.02)
    assert float(season.o2_after(before, GAS, pneumatic)) == pytest.approx(figures("R121")[place], abs=0.02)


def test_every_copied_figure_names_its_source_and_mark():
    for row in table("values"):
        assert row["source"], row["id"]
        assert any(mark in row["mark"] for mark in ("READ", "COMPUTED", "MEMORY")), row["id"]
