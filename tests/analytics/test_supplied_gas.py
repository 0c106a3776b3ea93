"""Drift reads each test with the gas that burned there that day, and takes off what that gas adds."""

from datetime import date

import numpy as np
import pytest

from analytics.bands import bands_of
from analytics.estimates import EPOCH
from analytics.reading import history_read
from analytics.reading.gases import gases_read, ln_g_against
from analytics.reading.sources import FUELS
from combustion.balance import phi_from_o2
from combustion.fuels import FUELS as CATALOGUE
from combustion.fuels import custom_fuel
from fleet.models import ApplianceModel, SuppliedGas
from tests.factories import (
    ApplianceFactory,
    FiringSpecFactory,
    FiringTestFactory,
    GasAreaFactory,
    VisitFactory,
)

LEAN = {"methane": 0.86, "nitrogen": 0.10, "carbon_dioxide": 0.04}
NATURAL = FUELS.index("natural_gas")


def reported(from_on, composition=LEAN, **place):
    return SuppliedGas.objects.create(
        fuel="natural_gas", from_on=from_on, composition=composition, source="invented for tests", **place
    )


def test_what_a_gas_adds_is_its_air_demand_over_the_root_of_its_density():
    """Methane against itself adds nothing; hydrogen against it by hand: stoichiometry and molar masses."""
    methane, hydrogen = CATALOGUE["methane"], custom_fuel({"hydrogen": 1.0})
    assert ln_g_against(methane, methane) == 0.0
    # air 2 O2 for methane, 0.5 for hydrogen; molar masses 16.043 and 2.016 g/mol; compression aside
    by_hand = np.log(0.5 / 2.0) - 0.5 * np.log(2.016 / 16.043)
    assert ln_g_against(hydrogen, methane) == pytest.approx(by_hand, abs=2e-3)


def test_the_sites_own_gas_wins_and_the_day_decides(db):
    area, site = GasAreaFactory(), ApplianceFactory().plant.site
    ours = reported(date(2026, 3, 2), site=site)
    reported(date(2026, 1, 1), gas_area=area)
    reported(date(2026, 2, 1), {"methane": 1.0}, gas_area=area)
    gases = gases_read()
    first = len(FUELS)  # in order of their rows: the site's, then the area's two
    days = np.array(
        [
            (day - EPOCH).days
            for day in (date(2025, 12, 31), date(2026, 1, 31), date(2026, 3, 1), date(2026, 3, 2))
        ]
    )
    n = len(days)
    fuel, there = np.full(n, NATURAL), np.full(n, area.pk)
    assert gases.burned(np.full(n, site.pk), there, fuel, days).tolist() == [
        NATURAL,
        first + 1,
        first + 2,
        first,
    ]
    assert gases.burned(np.full(n, -1), np.full(n, -1), fuel, days).tolist() == [NATURAL] * n
    other = np.full(n, FUELS.index("propane"))
    assert gases.burned(np.full(n, site.pk), there, other, days).tolist() == other.tolist()
    assert gases.fuels[first] == ours.as_fuel()


def test_a_reading_on_another_gas_is_taken_back_to_the_catalogues(db):
    appliance = ApplianceFactory(model__ratio_control=ApplianceModel.RatioControl.PNEUMATIC_PREMIX)
    FiringSpecFactory(model=appliance.model)
    visit = VisitFactory(appliance=appliance, closed_at="2026-03-02T10:00Z", outcome="completed")
    FiringTestFactory(visit=visit, o2_pct=4.86)
    usual = CATALOGUE["natural_gas"]
    before = history_read([appliance.pk])
    assert before.history.found_phi[0, 0] == pytest.approx(float(phi_from_o2(4.86, usual, 0.0)[0]), rel=1e-6)
    bands = bands_of(before)
    gas = reported(date(2026, 3, 2), site=appliance.plant.site).as_fuel()
    read = history_read([appliance.pk])
    added = ln_g_against(gas, usual)
    assert abs(added) > 0.02
    expected = float(phi_from_o2(4.86, gas, 0.0)[0]) / np.exp(added)
    assert read.history.found_phi[0, 0] == pytest.approx(expected, rel=1e-6)
    assert read.gas.tolist() == read.gas_now.tolist() == [len(FUELS)]
    # CO2 limits mean another mixture on a gas with less carbon for its air
    assert not np.allclose(bands_of(read).lowest_phi[0, 0], bands.lowest_phi[0, 0])
