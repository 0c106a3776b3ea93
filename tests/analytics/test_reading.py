"""What the drift work reads is what was imported or stored, and nothing that should be left out."""

import numpy as np
import pytest

from analytics.drift.history import HIGH, LOW
from analytics.reading import history_read
from combustion import fuels
from combustion.balance import phi_from_co2
from fleet.models import Burner
from tests.analytics.fleets import imported
from tests.visits.bodies import closed, firing, move, visit_body
from tests.visits.conftest import set_up_scene

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


def test_a_low_fire_taken_back_before_a_throttle_move_is_read_as_found(api_of):
    """Without high fire on both sides of the move it is not: judging and drift agree on which is which."""
    scene = set_up_scene(api_of)
    tests = [
        firing("h", "high", "as_found", 10, co2_pct=8.0, o2_pct=None),
        firing("l", "low", "as_found", 18, co2_pct=8.8, o2_pct=None),
        firing("h2", "high", "as_left", 21, co2_pct=9.0, o2_pct=None),
    ]
    body = closed(visit_body(scene.appliance, scene.analyser, tests=tests, adjustments=[move("a1", 15)]))
    assert scene.put(body).status_code == 201
    only_after = {**body, "tests": tests[1:]}
    assert scene.put(only_after, uuid="00000000-0000-7000-8000-000000000002").status_code == 201
    history = history_read().history
    high_before, high_after, low = (
        phi_from_co2(c, fuels.fuel("natural_gas"), 22.0)[0] for c in (8.0, 9.0, 8.8)
    )
    corrected, plain = history.found_phi[:, LOW]
    assert corrected == pytest.approx(low * high_before / high_after, rel=1e-3)
    assert plain == pytest.approx(low, rel=1e-4)
    assert history.moved_before[:, LOW].tolist() == [False, True]
    assert history.found_var[0, LOW] > history.found_var[1, LOW]
