"""What the drift work reads is what was imported or stored, and nothing that should be left out."""

import numpy as np
import pytest

from analytics.drift.history import HIGH, LOW
from analytics.reading import history_read
from combustion import fuels
from combustion.balance import phi_from_co2
from fleet.models import Burner
from tests.analytics.fleets import imported

pytestmark = pytest.mark.django_db


def test_an_imported_fleet_is_read_back_as_it_was_simulated(tmp_path):
    fleet = imported(tmp_path)
    read = history_read()
    history, v = read.history.checked(), fleet.visits
    assert history.visits == len(v.day) == read.history.visits
    assert read.tests == np.isfinite(v.found_co2_pct).sum() + np.isfinite(v.left_co2_pct).sum()
    tags = dict(Burner.objects.values_list("pk", "appliance__tag"))
    unit = np.array([int(tags[pk][1:]) for pk in read.burner_id.tolist()])[history.burner]
    order = np.lexsort((history.day, unit))
    gas = fuels.fuel("natural_gas")
    for point in (HIGH, LOW):
        expected = phi_from_co2(v.found_co2_pct[:, point], gas, 35.0)[0]
        assert np.allclose(history.found_phi[order, point], expected, rtol=1e-6)
        left = v.left_co2_pct[:, point]
        expected = phi_from_co2(np.where(np.isnan(left), np.nan, left), gas, 35.0)[0]
        assert np.allclose(history.left_phi[order, point], expected, rtol=1e-6, equal_nan=True)
    assert (history.adjusted[order] == v.adjusted).all()
    assert np.allclose(history.air_temp_c[order, 0], v.air_temp_c, atol=1e-4)
    assert np.allclose(history.low_air_rate[order, 0], 1 / fleet.believed_turndown[v.appliance])
    assert len(read.numbering.period_ids) == len(np.unique(v.period))
    assert len(read.numbering.area_ids) == fleet.options.areas
