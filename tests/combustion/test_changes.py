"""What would change: savings, season, meter, altitude, emissions, units at their edges."""

from __future__ import annotations

import numpy as np
import pytest

from combustion import altitude, emissions, metering, season, units, water
from combustion.balance import (
    air_ratio_from_co2,
    air_ratio_from_o2,
    co2_from_phi,
    o2_from_phi,
    phi_from_co2,
)
from combustion.errors import OutOfRange
from combustion.flue_gas import flue_gas_state
from combustion.fuels import FUELS
from combustion.readings import Readings
from combustion.savings import efficiency_change, yearly

GAS = FUELS["natural_gas"]
NOW = {"o2_pct": 5.0, "flue_temp_c": 62.0, "air_temp_c": 20.0}
NOW_U = {"u_o2_pct": 0.15, "u_flue_temp_c": 1.0, "u_air_temp_c": 0.5}


def efficiency(**readings: float) -> float:
    return float(flue_gas_state(Readings(**readings), GAS).value("efficiency_gross_pct"))


def test_a_colder_return_gains_what_the_two_states_differ_by():
    change = efficiency_change(Readings(**NOW), GAS, return_temp_change_k=-15.0)
    expected = efficiency(**(NOW | {"flue_temp_c": 47.0})) - efficiency(**NOW)
    assert float(change.gain_gross_pct.value) == pytest.approx(expected, abs=1e-10)
    assert float(change.gain_gross_pct.u) == 0.0
    before, after = efficiency(**NOW), efficiency(**(NOW | {"flue_temp_c": 47.0}))
    assert float(change.fuel_saved_pct.value) == pytest.approx(100.0 * (1.0 - before / after))


def test_less_excess_air_gains_and_its_target_is_exact():
    change = efficiency_change(Readings(**NOW, **NOW_U), GAS, excess_air_pct=20.0)
    target = float(o2_from_phi(1 / 1.2, GAS))
    assert float(change.efficiency_gross_pct.value) == pytest.approx(efficiency(**(NOW | {"o2_pct": target})))
    assert float(change.gain_gross_pct.value) > 0.0


def test_the_interval_of_a_change_agrees_with_monte_carlo():
    """Shared errors cancel in the difference: drawn together, as one analyser has them."""
    rng = np.random.default_rng(8)
    drawn = {n: rng.normal(NOW[n], NOW_U[f"u_{n}"], 100_000) for n in NOW}
    shift = rng.normal(-15.0, 2.0, 100_000)
    gas_now = flue_gas_state(Readings(**drawn), GAS).value("efficiency_gross_pct")
    drawn["flue_temp_c"] = drawn["flue_temp_c"] + shift
    gas_then = flue_gas_state(Readings(**drawn), GAS).value("efficiency_gross_pct")
    change = efficiency_change(
        Readings(**NOW, **NOW_U), GAS, return_temp_change_k=-15.0, u_return_temp_change_k=2.0
    )
    # condensing bends the efficiency over the 2 K of doubt: 5 %
    assert float(change.gain_gross_pct.u) == pytest.approx(float(np.std(gas_then - gas_now)), rel=0.05)


def test_savings_in_a_year_follow_from_the_fuel_saved():
    change = efficiency_change(Readings(**NOW, **NOW_U), GAS, return_temp_change_k=-15.0)
    worth = yearly(
        change,
        GAS,
        input_gross_kw=200.0,
        full_load_hours=1800.0,
        price_per_kwh_gross=0.09,
        u_full_load_hours=200.0,
    )
    kwh = 200.0 * 1800.0 * float(change.fuel_saved_pct.value) / 100.0
    assert float(worth.energy_kwh.value) == pytest.approx(kwh)
    assert float(worth.money.value) == pytest.approx(0.09 * kwh)
    # 53 kg of CO2 per MMBtu (EPA, READ) is 0.181 kg per kWh
    assert float(worth.co2_kg.value) == pytest.approx(0.181 * kwh, rel=0.01)
    relative = np.hypot(200.0 / 1800.0, float(change.fuel_saved_pct.u / change.fuel_saved_pct.value))
    assert float(worth.money.u / worth.money.value) == pytest.approx(relative, rel=1e-9)
    assert float(worth.money.low) < float(worth.money.value) < float(worth.money.high)


def test_many_burners_at_once():
    readings = Readings(o2_pct=[4.0, 6.0], flue_temp_c=[60.0, 70.0], air_temp_c=20.0)
    change = efficiency_change(readings, GAS, return_temp_change_k=-10.0)
    assert change.gain_gross_pct.value.shape == (2,)


def test_impossible_changes_are_refused():
    with pytest.raises(OutOfRange, match="excess_air_pct"):
        efficiency_change(Readings(**NOW), GAS, excess_air_pct=-5.0)
    with pytest.raises(OutOfRange, match="flue_temp_c"):
        efficiency_change(Readings(**NOW), GAS, return_temp_change_k=-200.0)
    change = efficiency_change(Readings(**NOW), GAS, excess_air_pct=20.0)
    with pytest.raises(OutOfRange, match="full_load_hours"):
        yearly(change, GAS, input_gross_kw=1.0, full_load_hours=-1.0, price_per_kwh_gross=0.1)


def test_colder_and_moister_air_shift_carbon_dioxide_by_the_known_amounts():
    """Design figures: 20 K colder about -0.34 % CO2, moisture at 30 °C and 60 % about +0.20 %."""
    colder = season.ln_air_factor(0.0) - season.ln_air_factor(20.0)
    moister = season.ln_air_factor(30.0, 60.0) - season.ln_air_factor(30.0)
    assert float(season.co2_after(9.0, GAS, colder)) - 9.0 == pytest.approx(-0.34, abs=0.01)
    assert float(season.co2_after(9.0, GAS, moister)) - 9.0 == pytest.approx(0.20, abs=0.01)


def test_hydrogen_in_the_gas_leans_the_mixture():
    blend = FUELS["natural_gas_h2_20"]
    shift = season.ln_gas_factor(blend) - season.ln_gas_factor(GAS)
    before = float(phi_from_co2(9.0, GAS)[0])
    after = season.co2_after(9.0, GAS, shift, other_fuel=blend)
    assert float(phi_from_co2(after, blend)[0]) == pytest.approx(before * np.exp(shift))
    assert shift < 0.0


def test_a_mixture_that_would_turn_rich_has_no_expected_value():
    assert np.isnan(season.co2_after(11.7, GAS, 0.1))
    assert np.isnan(season.o2_after(0.1, GAS, 0.1))
    with pytest.raises(OutOfRange, match="gas_temp_c"):
        season.ln_gas_temp_factor(99.0)


def test_clocked_input_carries_the_stopwatch_and_the_meter():
    got = metering.clocked_input(0.1, 36.0, GAS, u_seconds=0.36, u_volume_m3=0.001)
    assert float(got.u_gross_kw / got.gross_kw) == pytest.approx(np.hypot(0.01, 0.01), rel=0.02)
    assert float(got.net_kw / got.gross_kw) == pytest.approx(GAS.net_kj_mol / GAS.gross_kj_mol, rel=1e-3)
    with pytest.raises(OutOfRange, match="0 < seconds"):
        metering.clocked_input(0.1, 0.0, GAS)


def test_input_against_the_nameplate_at_height():
    share, u = metering.nameplate_share(80.0, 100.0, 4.0, altitude.input_share_at(4000 * 0.3048))
    assert float(share) == pytest.approx(80.0 / 84.0)
    assert float(u) == pytest.approx(4.0 / 84.0)
    with pytest.raises(OutOfRange, match="nameplate_kw"):
        metering.nameplate_share(80.0, 0.0)


def test_input_goes_from_net_to_gross_and_back():
    gross = metering.heat_in_other_basis_kw(100.0, GAS, given="net")
    assert float(metering.heat_in_other_basis_kw(gross, GAS, given="gross")) == pytest.approx(100.0)
    with pytest.raises(OutOfRange, match="gross or net"):
        metering.heat_in_other_basis_kw(100.0, GAS, given="both")


def test_altitude_beyond_a_rule_is_refused():
    with pytest.raises(OutOfRange, match="ask the authority"):
        altitude.input_share_at(1500.0, "canada")
    with pytest.raises(OutOfRange, match="one of nfpa54, canada"):
        altitude.input_share_at(100.0, "alps")
    with pytest.raises(OutOfRange, match="elevation_m"):
        altitude.pressure_hpa_at(9000.0)
    with pytest.raises(OutOfRange, match="pressure_hpa"):
        altitude.elevation_m_of(100.0)


def test_emissions_per_heat_agree_with_the_state_and_with_one_another():
    state = flue_gas_state(Readings(o2_pct=5.0, co_ppm=80.0, nox_ppm=40.0), GAS)
    nox = emissions.per_heat(40.0, "nox", 5.0, GAS, 80.0)
    assert float(nox.mg_per_kwh_net) == pytest.approx(float(state.value("nox_mg_per_kwh_net")), rel=1e-12)
    assert float(nox.lb_per_mmbtu) == pytest.approx(float(state.value("nox_lb_per_mmbtu")), rel=1e-12)
    assert float(nox.method19) == pytest.approx(float(state.value("nox_lb_per_mmbtu_method19")), rel=1e-12)
    assert float(units.to_us(nox.ng_per_j, "ng_j")) == pytest.approx(float(nox.lb_per_mmbtu), rel=1e-9)
    assert float(nox.mg_per_kwh_gross) == pytest.approx(3.6 * float(nox.ng_per_j))
    assert float(nox.method19_apart_pct) == pytest.approx(1.0, abs=0.1)
    by_dilution = emissions.at_reference_o2(40.0, 5.0, 3.0)
    assert float(by_dilution) == pytest.approx(float(state.value("nox_ppm_at_3_o2")), rel=2e-4)


def test_a_reference_oxygen_at_or_above_air_is_refused():
    with pytest.raises(OutOfRange, match="reference_o2_pct"):
        emissions.at_reference_o2(1.0, 3.0, 21.0)
    with pytest.raises(OutOfRange, match="co2_pct above 0"):
        emissions.method19_co2(1.0, "co", 0.0, 1040.0)


def test_the_light_functions_refuse_what_cannot_be_and_pass_what_is_missing():
    assert np.isnan(air_ratio_from_o2([3.0, np.nan], GAS)[1])
    with pytest.raises(OutOfRange) as refused:
        air_ratio_from_o2([3.0, 21.0], GAS)
    assert (refused.value.field, refused.value.value, refused.value.index) == ("o2_pct", 21.0, 1)
    with pytest.raises(OutOfRange, match=r"0 < co2_pct <= 11\.833"):
        air_ratio_from_co2(12.0, GAS)
    with pytest.raises(OutOfRange, match="0 < phi <= 1"):
        co2_from_phi(1.01, GAS)
    with pytest.raises(OutOfRange, match="co_ppm"):
        air_ratio_from_o2(3.0, GAS, -1.0)


def test_water_refuses_what_its_equation_does_not_cover():
    for call in (
        lambda: water.saturation_pressure_hpa(130.0),
        lambda: water.dew_point_c(0.01),
        lambda: water.humidity_mol_per_mol(20.0, 101.0),
        lambda: water.latent_kj_mol(-50.0),
    ):
        with pytest.raises(OutOfRange):
            call()


def test_an_unknown_unit_is_refused_by_name():
    with pytest.raises(OutOfRange, match="one of c, k, m"):
        units.to_us(1.0, "furlong")


@pytest.mark.parametrize(
    ("unit", "si", "us"),
    [
        ("c", 100.0, 212.0),
        ("kw", 1.0, 3412.14),
        ("mbar", 2.49082, 1.0),
        ("m3_h", 1.0, 35.3147),
        ("kg", 1.0, 2.20462),
    ],
)
def test_units_of_the_trade(unit, si, us):
    """NIST SP 811 (MEMORY)."""
    assert float(units.to_us(si, unit)) == pytest.approx(us, rel=2e-6)
