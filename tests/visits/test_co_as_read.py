"""A bias that is taken off a reading never makes carbon monoxide look better than it was read."""

from types import SimpleNamespace
from typing import Any

import pytest

from common.constraints import MEASURED_LIMIT
from fleet.models import AnalyserPeriod
from tests.visits.bodies import finding, firing, visit_body
from visits.judging.rules import _co_levels


def levels(
    *, o2_read: float | None, co2_read: float | None, bias: float | None, **corrected: float
) -> dict[str, Any]:
    period = None if bias is None else SimpleNamespace(applied_bias_co2_pct=bias)
    judged: Any = SimpleNamespace(
        case=SimpleNamespace(period=period), value=lambda name, place: corrected.get(name)
    )
    test: Any = SimpleNamespace(co_ppm=200.0, o2_pct=o2_read, co2_pct=co2_read)
    return {name: value for name, _, _, value in _co_levels(judged, 0, test, 200.0)}


@pytest.mark.parametrize(
    ("o2_read", "co2_read", "bias", "o2", "co2", "times"),
    [
        # read leaner than it was: with the bias off it would look better, so the reading as taken counts
        (8.0, None, -0.5, 7.0, 7.8, 13.95 / 12.95),
        (None, 7.3, -0.5, 7.0, 7.8, 7.8 / 7.3),
        # read richer than it was: the bias off makes it worse, and that counts
        (6.0, None, 0.5, 7.0, 7.8, 1.0),
        (8.0, None, None, 8.0, 7.2, 1.0),
    ],
)
def test_the_worse_of_the_two_is_held_against_the_limit(
    o2_read: float | None, co2_read: float | None, bias: float | None, o2: float, co2: float, times: float
) -> None:
    found = levels(
        o2_read=o2_read,
        co2_read=co2_read,
        bias=bias,
        o2_pct=o2,
        co2_pct=co2,
        co_air_free_ppm=300.0,
        co_co2_ratio=0.003,
    )
    assert found["co_air_free_ppm"] == pytest.approx(300.0 * times, rel=1e-3)
    assert found["co_co2_ratio"] == pytest.approx(0.003 * times, rel=1e-3)
    assert found["co_ppm"] == 200.0


@pytest.mark.django_db
@pytest.mark.parametrize("co_ppm", [3_000, 100_000])
def test_make_safe_is_stored_and_said_where_air_free_it_grows_beyond_what_a_column_holds(
    scene, co_ppm
) -> None:
    """Oxygen of air beside CO2 of flue gas, with an analyser whose bias is taken off: the reading is kept."""
    AnalyserPeriod.objects.filter(pk=scene.period.pk).update(
        applied_bias_run=1, applied_bias_co2_pct=0.2, applied_bias_u_co2_pct=0.05
    )
    body = visit_body(scene.appliance, scene.analyser)
    body["tests"][0] = firing("t", "high", "as_found", 10, o2_pct=20.9, co2_pct=9.1, co_ppm=co_ppm)
    answer = scene.put(body)
    assert answer.status_code == 201, answer.content[:300]
    found = finding(answer.json(), "co_make_safe", "test:t")
    assert found["limit"] < co_ppm < found["value"] < MEASURED_LIMIT
    assert scene.get()["make_safe"] == answer.json()["make_safe"]
