"""CO that stood high before it settled, a peak that passed, and a sensor's zero in fresh air."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest

from tests.visits.bodies import firing, visit_body
from visits.payload import ReadingIn
from visits.settling import co_sustained_ppm

START = datetime(2026, 3, 2, 9, 10, tzinfo=UTC)


def stream(co_by_second: dict[int, float]) -> list[ReadingIn]:
    return [
        ReadingIn.model_validate({"at": (START + timedelta(seconds=s)).isoformat(), "co_ppm": float(co)})
        for s, co in co_by_second.items()
    ]


def test_the_level_that_stood_for_a_minute_is_found_wherever_it_lies() -> None:
    readings = stream({s: 900.0 if 60 <= s <= 125 else 20.0 for s in range(0, 300, 5)})
    assert co_sustained_ppm(readings) == 900.0


def test_a_spike_at_light_off_is_not_sustained() -> None:
    readings = stream({s: 3000.0 if s < 30 else 20.0 for s in range(0, 300, 5)})
    assert co_sustained_ppm(readings) == 20.0


def test_a_stream_shorter_than_a_minute_sustains_nothing() -> None:
    assert co_sustained_ppm(stream({s: 900.0 for s in range(0, 85, 5)})) is None


def test_readings_out_of_order_and_doubled_sustain_the_same() -> None:
    readings = stream({s: float(s) for s in range(0, 200, 5)})
    assert co_sustained_ppm([*readings[::-1], *readings]) == co_sustained_ppm(readings) == 135.0


def _streamed(co_by_second: dict[int, float], **values: float) -> dict:
    test = firing("found-high", "high", "as_found", 10)
    base = {**test["readings"][0], **values}
    test["readings"] = [
        {**base, "at": (START + timedelta(seconds=s)).isoformat(), "co_ppm": co}
        for s, co in co_by_second.items()
    ]
    return test


def _codes(scene, test: dict) -> list[str]:
    body = visit_body(scene.appliance, scene.analyser, tests=[test])
    answer = scene.api.put(f"/api/v1/visits/{uuid.uuid4()}/", body, format="json")
    assert answer.status_code == 201
    return [row["code"] for row in answer.json()["findings"]]


@pytest.mark.django_db
def test_co_that_stood_high_and_then_settled_is_answered_with_make_safe(scene) -> None:
    co = {s: 900.0 if 60 <= s <= 150 else 20.0 for s in range(0, 300, 5)}
    assert "co_make_safe" in _codes(scene, _streamed(co))


@pytest.mark.django_db
def test_a_light_off_spike_is_noted_and_nothing_more(scene) -> None:
    codes = _codes(scene, _streamed({s: 900.0 if s < 20 else 20.0 for s in range(0, 300, 5)}))
    assert "co_spike" in codes
    assert "co_make_safe" not in codes


@pytest.mark.django_db
def test_a_sensor_zero_in_fresh_air_is_not_blown_up_to_an_alarm(scene) -> None:
    codes = _codes(scene, _streamed({0: 3.0}, o2_pct=20.9, co2_pct=0.03))
    assert "co_make_safe" not in codes
    assert "co_investigate" not in codes
