"""What must hold for any fuel and any reading (Hypothesis)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from combustion import altitude, season, units, water
from combustion.balance import (
    air_ratio_from_co2,
    air_ratio_from_o2,
    co2_from_o2,
    co2_from_phi,
    o2_from_co2,
    o2_from_phi,
    phi_from_co2,
    phi_from_o2,
)
from combustion.flue_gas import flue_gas_state
from combustion.fuels import AIR_O2_FRACTION, FUELS, Fuel, custom_fuel
from combustion.iso6976 import COMPONENTS, HYDROGEN, INERT, NITROGEN, OXYGEN, SULFUR
from combustion.readings import Readings

unhurried = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
BURNING = (
    "methane",
    "ethane",
    "propane",
    "n_butane",
    "n_hexane",
    "hydrogen",
    "carbon_monoxide",
    "hydrogen_sulfide",
)


@st.composite
def mixtures(draw) -> Fuel:
    shares = {name: draw(st.floats(0.0, 1.0)) for name in draw(st.sets(st.sampled_from(COMPONENTS)))}
    shares[draw(st.sampled_from(BURNING))] = 1.0
    total = sum(shares.values())
    fuel_shares = {name: x / total for name, x in shares.items()}
    assume(fuel_shares.get("oxygen", 0.0) < 0.1)
    return custom_fuel(fuel_shares)


oxygens = st.floats(0.0, 20.0)
monoxides = st.floats(0.0, 5000.0)


@unhurried
@given(fuel=mixtures(), o2_pct=oxygens, co_ppm=monoxides)
def test_the_mass_balance_closes_to_ten_digits(fuel, o2_pct, co_ppm):
    """Dry volume from nitrogen alone; carbon and oxygen must then close by themselves."""
    air_ratio = float(air_ratio_from_o2(o2_pct, fuel, co_ppm))
    o2, co2, co = o2_pct / 100.0, float(co2_from_o2(o2_pct, fuel, co_ppm)) / 100.0, co_ppm * 1e-6
    air = air_ratio * fuel.stoich_air_mol_per_mol
    x = fuel.fractions
    others = x @ NITROGEN / 2.0 + air * (1.0 - AIR_O2_FRACTION) + x @ SULFUR + x @ INERT
    dry_flue = others / (1.0 - o2 - co2 - co)

    scale = max(1.0, dry_flue)
    assert abs((co2 + co) * dry_flue - fuel.carbon) / scale < 1e-10
    brought = x @ OXYGEN / 2.0 + AIR_O2_FRACTION * air
    leaves = (o2 + co2 + co / 2.0) * dry_flue + x @ HYDROGEN / 4.0 + x @ SULFUR
    assert abs(brought - leaves) / scale < 1e-10


@unhurried
@given(fuel=mixtures(), o2_pct=oxygens, co_ppm=monoxides)
def test_oxygen_to_carbon_dioxide_and_back(fuel, o2_pct, co_ppm):
    assume(fuel.co2_max_pct > 1.0)
    co2 = float(co2_from_o2(o2_pct, fuel, co_ppm))
    assume(0.0 < co2 <= fuel.co2_max_pct)
    assert float(o2_from_co2(co2, fuel, co_ppm)) == pytest.approx(o2_pct, abs=1e-8)
    by_o2, by_co2 = air_ratio_from_o2(o2_pct, fuel, co_ppm), air_ratio_from_co2(co2, fuel, co_ppm)
    assert float(by_co2) == pytest.approx(float(by_o2), rel=1e-8)


@unhurried
@given(fuel=mixtures(), o2_pct=st.floats(0.1, 19.0), co_ppm=monoxides)
def test_phi_is_one_over_the_air_ratio_and_its_slope_the_difference_quotient(fuel, o2_pct, co_ppm):
    phi, slope = phi_from_o2(o2_pct, fuel, co_ppm)
    assert float(phi) * float(air_ratio_from_o2(o2_pct, fuel, co_ppm)) == pytest.approx(1.0, rel=1e-12)
    step = 1e-4
    quotient = (phi_from_o2(o2_pct + step, fuel, co_ppm)[0] - phi_from_o2(o2_pct - step, fuel, co_ppm)[0]) / (
        2 * step
    )
    assert float(slope) == pytest.approx(float(quotient), rel=1e-5)


@unhurried
@given(slug=st.sampled_from(sorted(FUELS)), share=st.floats(0.2, 0.99), co_ppm=monoxides)
def test_phi_from_carbon_dioxide_has_the_slope_of_its_difference_quotient(slug, share, co_ppm):
    fuel, step = FUELS[slug], 1e-4
    co2 = share * fuel.co2_max_pct
    phi, slope = phi_from_co2(co2, fuel, co_ppm)
    assert float(phi) * float(air_ratio_from_co2(co2, fuel, co_ppm)) == pytest.approx(1.0, rel=1e-12)
    quotient = (phi_from_co2(co2 + step, fuel, co_ppm)[0] - phi_from_co2(co2 - step, fuel, co_ppm)[0]) / (
        2 * step
    )
    assert float(slope) == pytest.approx(float(quotient), rel=1e-6)


@unhurried
@given(fuel=mixtures(), phi=st.floats(0.1, 1.0))
def test_phi_gives_oxygen_and_carbon_dioxide_that_give_phi(fuel, phi):
    assert float(phi_from_o2(o2_from_phi(phi, fuel), fuel)[0]) == pytest.approx(phi, rel=1e-9)
    if fuel.co2_max_pct > 1.0:
        assert float(phi_from_co2(co2_from_phi(phi, fuel), fuel)[0]) == pytest.approx(phi, rel=1e-9)


@unhurried
@given(fuel=mixtures(), lower=st.floats(0.0, 19.0), more=st.floats(0.01, 1.0), co_ppm=monoxides)
def test_more_oxygen_is_more_air_and_less_carbon_dioxide(fuel, lower, more, co_ppm):
    o2 = np.array([lower, lower + more])
    assert np.diff(air_ratio_from_o2(o2, fuel, co_ppm))[0] > 0.0
    if fuel.carbon > 0.01:
        assert np.diff(co2_from_o2(o2, fuel, co_ppm))[0] < 0.0


@unhurried
@given(
    slug=st.sampled_from(sorted(FUELS)),
    o2_pct=st.floats(0.0, 15.0),
    air_temp_c=st.floats(-20.0, 40.0),
    rh=st.floats(0.0, 100.0),
    pressure_hpa=st.floats(700.0, 1050.0),
)
def test_a_hotter_flue_condenses_less_and_loses_more(slug, o2_pct, air_temp_c, rh, pressure_hpa):
    flue = np.linspace(air_temp_c, 250.0, 60)
    readings = Readings(
        o2_pct=o2_pct, flue_temp_c=flue, air_temp_c=air_temp_c, air_rh_pct=rh, pressure_hpa=pressure_hpa
    )
    state = flue_gas_state(readings, FUELS[slug])
    assert (np.diff(state.value("condensed_pct")) <= 1e-12).all()
    assert (np.diff(state.value("efficiency_gross_pct")) < 0.0).all()
    wet = state.value("condensed_pct") > 1e-9
    assert (flue[wet] < state.value("dew_point_c")[wet] + 1e-6).all()
    assert (flue[~wet] > state.value("dew_point_c")[~wet] - 1e-4).all()
    gross, net = state.value("efficiency_gross_pct"), state.value("efficiency_net_pct")
    assert (net > gross).all()
    parts = sum(state.value(f"{p}_loss_gross_pct") for p in ("sensible", "latent", "unburnt"))
    assert (gross + parts).tolist() == pytest.approx([100.0] * 60, abs=1e-10)


@unhurried
@given(temp_c=st.floats(0.0, 119.0))
def test_dew_point_undoes_saturation(temp_c):
    assert float(water.dew_point_c(water.saturation_pressure_hpa(temp_c))) == pytest.approx(temp_c, abs=1e-5)


@unhurried
@given(unit=st.sampled_from(sorted(units.CUSTOMARY)), value=st.floats(-1e4, 1e4))
def test_units_go_there_and_back(unit, value):
    assert float(units.from_us(units.to_us(value, unit), unit)) == pytest.approx(value, rel=1e-12, abs=1e-9)


@unhurried
@given(elevation_m=st.floats(-400.0, 4800.0))
def test_height_goes_to_pressure_and_back(elevation_m):
    assert float(altitude.elevation_m_of(altitude.pressure_hpa_at(elevation_m))) == pytest.approx(
        elevation_m, abs=1e-6
    )


@unhurried
@given(slug=st.sampled_from(sorted(FUELS)), share=st.floats(0.5, 0.8), shift=st.floats(-0.1, 0.1))
def test_a_shift_of_the_mixture_and_its_opposite_cancel(slug, share, shift):
    fuel = FUELS[slug]
    co2 = share * fuel.co2_max_pct
    there = season.co2_after(co2, fuel, shift)
    assert float(season.co2_after(there, fuel, -shift)) == pytest.approx(co2, rel=1e-9)
