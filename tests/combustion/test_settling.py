"""Settled values: coverage on series of known correlation, what settles and what not, and bad streams."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import solve_toeplitz
from scipy.signal import lfilter
from scipy.stats import t

from combustion.autocorrelated import window_estimate, window_estimates
from combustion.settling import gas_settled, thermally_steady

STEP_S = 3.0
TIME = np.arange(0.0, 200.0, STEP_S)


def ar1(rho, readings, series, rng):
    """Stationary series of unit variance and mean zero."""
    noise = rng.standard_normal((series, readings))
    noise[:, 1:] *= np.sqrt(1.0 - rho**2)
    return lfilter([1.0], [1.0, -rho], noise, axis=1)


def a_stream(noise=0.03, time=TIME, seed=5):
    """A probe put in at 0 s: both gases come in with 12 s, as a display in tenths shows them."""
    rng = np.random.default_rng(seed)
    fading = np.exp(-time / 12.0)
    return {
        "o2_pct": np.round(4.8 + 16.0 * fading + noise * rng.standard_normal(len(time)), 1),
        "co2_pct": np.round(9.1 * (1.0 - fading) + noise * rng.standard_normal(len(time)), 1),
        "co_ppm": np.round(22.0 + 3.0 * rng.standard_normal(len(time))),
    }


@pytest.mark.parametrize("readings", [20, 40])
@pytest.mark.parametrize("rho", [0.0, 0.4, 0.7, 0.9])
def test_the_interval_of_the_mean_holds_95_in_100_within_2_points(rho, readings):
    series = ar1(rho, readings, 4000, np.random.default_rng(int(100 * rho) + readings))
    nothing, any_limit = np.zeros(len(series)), np.ones(len(series))
    estimates = window_estimates(STEP_S * np.arange(readings), series, nothing, any_limit)
    covered = np.mean([abs(e.mean) <= e.half_width_95 for e in estimates])
    assert covered == pytest.approx(0.95, abs=0.02), covered


def test_readings_taken_for_independent_and_the_plug_in_effective_number_would_fail_that():
    """The usual recipe, n (1 - r)/(1 + r) with the estimated r and Student's t, falls short in a window."""
    series, n = ar1(0.7, 20, 4000, np.random.default_rng(90)), 20
    centred = series - series.mean(axis=1, keepdims=True)
    sd = series.std(axis=1, ddof=1)
    r = np.clip((centred[:, 1:] * centred[:, :-1]).sum(axis=1) / (centred**2).sum(axis=1), 0.0, 0.95)
    effective = np.clip(n * (1 - r) / (1 + r), 2.0, n)
    plug_in = t.ppf(0.975, effective - 1) * sd / np.sqrt(effective)
    independent = t.ppf(0.975, n - 1) * sd / np.sqrt(n)
    assert np.mean(np.abs(series.mean(axis=1)) <= independent) < 0.75
    assert np.mean(np.abs(series.mean(axis=1)) <= plug_in) < 0.92


def test_a_long_series_gives_the_exact_standard_error_of_an_ar1_mean():
    """Var of the mean = s2/n (1 + 2 sum (1 - k/n) rho^k), summed, not approximated."""
    rho, readings = 0.6, 400
    lags = np.arange(1, readings)
    exact = np.sqrt((1.0 + 2.0 * np.sum((1.0 - lags / readings) * rho**lags)) / readings)
    series = ar1(rho, readings, 60, np.random.default_rng(7))
    found = [window_estimate(np.arange(readings), row, limit=1.0).u for row in series]
    assert np.median(found) == pytest.approx(exact, rel=0.05)


def test_the_mean_is_that_of_generalised_least_squares_with_the_true_correlation():
    rho, readings = 0.6, 300
    row = ar1(rho, readings, 1, np.random.default_rng(11))[0]
    weights = solve_toeplitz(rho ** np.arange(readings), np.ones(readings))
    exact, u_exact = weights @ row / weights.sum(), 1.0 / np.sqrt(weights.sum())
    ours = window_estimate(np.arange(readings), row, limit=1.0)
    assert ours.mean == pytest.approx(exact, abs=0.1 * u_exact)
    assert ours.u == pytest.approx(u_exact, rel=0.15)


def test_missing_readings_leave_the_estimate_where_it_was():
    """A third of the readings gone: their neighbours know most of what they said."""
    rows = ar1(0.7, 60, 40, np.random.default_rng(3))
    kept = np.random.default_rng(4).random(60) > 0.33
    for row in rows[:5]:
        whole = window_estimate(np.arange(60.0), row, limit=1.0)
        part = window_estimate(np.arange(60.0)[kept], row[kept], limit=1.0)
        assert abs(part.mean - whole.mean) < whole.half_width_95
    ratio = [
        window_estimate(np.arange(60.0)[kept], row[kept], limit=1.0).u
        / window_estimate(np.arange(60.0), row, limit=1.0).u
        for row in rows
    ]
    assert 0.95 < np.median(ratio) < 1.25


def test_a_display_that_does_not_move_is_known_to_its_last_digit_and_no_better():
    estimate = window_estimate(np.arange(20.0), np.full(20, 9.0), resolution=0.1)
    assert estimate.u == pytest.approx(0.1 / np.sqrt(12.0))


def test_few_readings_and_other_shapes_are_refused_by_name():
    with pytest.raises(ValueError, match="value has shape"):
        window_estimate([0.0, 1.0], [9.0, 9.0])


def test_a_quiet_stream_settles_once_the_analyser_has_had_its_time():
    answer = gas_settled(TIME, a_stream(), settle_s=60.0)
    assert answer.settled
    assert (answer.why, answer.to_go_s) == ("", 0.0)
    assert answer.of["o2_pct"].mean == pytest.approx(4.8, abs=3 * answer.of["o2_pct"].u)
    assert answer.of["o2_pct"].u < 0.1


def test_waiting_the_seconds_that_are_said_leads_to_settled():
    waited_s, waits = 45.0, []
    while True:
        short = waited_s >= TIME
        stream = {name: value[short] for name, value in a_stream().items()}
        answer = gas_settled(TIME[short], stream, settle_s=60.0)
        if answer.settled:
            break
        waits.append((answer.why, answer.to_go_s))
        waited_s += answer.to_go_s
    assert waits[0] == ("too_soon", 48.0)
    assert len(waits) <= 3, waits


def test_a_move_inside_the_stream_starts_the_time_again():
    assert gas_settled(TIME, a_stream(), settle_s=60.0, changed_s=150.0).why == "too_soon"


def test_a_short_stream_long_after_the_last_change_is_settled():
    tail = TIME >= 160.0
    answer = gas_settled(
        TIME[tail], {name: value[tail] for name, value in a_stream().items()}, settle_s=60.0, changed_s=0.0
    )
    assert answer.settled


def test_a_reading_that_still_moves_and_one_that_hunts_are_told_apart():
    moving = {**a_stream(), "o2_pct": np.round(4.8 + 0.006 * TIME, 1)}
    assert gas_settled(TIME, moving, settle_s=60.0).why == "sloping"
    hunting = {**a_stream(), "o2_pct": np.round(4.8 + 0.4 * np.sin(TIME / 2.0), 1)}
    assert gas_settled(TIME, hunting, settle_s=60.0).why == "scattered"


@pytest.mark.parametrize("noise", [0.02, 0.04])
def test_ordinary_noise_settles_mostly_and_a_slow_approach_never(noise):
    settled = [gas_settled(TIME, a_stream(noise, seed=s), settle_s=60.0).settled for s in range(40)]
    assert np.mean(settled) > 0.8
    slow = np.round(4.8 + 16.0 * np.exp(-TIME / 60.0), 1)
    assert not gas_settled(TIME[:40], {"o2_pct": slow[:40]}, settle_s=60.0).settled


def test_order_doubled_rows_and_a_clock_an_hour_off_change_nothing():
    stream = a_stream()
    plain = gas_settled(TIME, stream, settle_s=60.0)
    mixed = np.random.default_rng(1).permutation(2 * len(TIME)) % len(TIME)
    for time, rows in ((TIME + 3600.0, slice(None)), (TIME[mixed], mixed)):
        other = gas_settled(time, {name: value[rows] for name, value in stream.items()}, settle_s=60.0)
        assert other.settled
        for name, estimate in plain.of.items():
            assert other.of[name].mean == pytest.approx(estimate.mean)
            assert other.of[name].u == pytest.approx(estimate.u)


def test_a_gap_is_bridged_and_readings_without_a_time_are_left_out():
    kept = (TIME < 60.0) | (TIME > 120.0)
    stream = {name: value[kept] for name, value in a_stream().items()}
    assert gas_settled(TIME[kept], stream, settle_s=60.0).settled
    assert gas_settled(np.where(TIME > 170.0, np.nan, TIME), a_stream(), settle_s=60.0).settled
    with pytest.raises(ValueError, match="time_s"):
        gas_settled([np.nan], {"o2_pct": [4.8]}, settle_s=60.0)


@pytest.mark.parametrize(("out_at_s", "settled"), [(160.0, True), (75.0, False)])
def test_when_the_probe_falls_out_only_what_came_before_counts(out_at_s, settled):
    stream = a_stream()
    gone = np.where(out_at_s < TIME, 1.0 - np.exp(-(TIME - out_at_s) / 8.0), 0.0)
    stream["o2_pct"] = np.round(stream["o2_pct"] * (1 - gone) + 20.9 * gone, 1)
    stream["co2_pct"] = np.round(stream["co2_pct"] * (1 - gone), 1)
    answer = gas_settled(TIME, stream, settle_s=60.0)
    assert answer.probe_out
    assert answer.settled == settled
    assert answer.of["o2_pct"].mean == pytest.approx(4.8, abs=0.1 if settled else 0.6)


def test_a_probe_put_back_in_starts_the_time_again():
    stream = a_stream()
    out = (TIME > 100.0) & (TIME < 120.0)
    stream["o2_pct"], stream["co2_pct"] = np.where(out, 20.9, stream["o2_pct"]), np.where(out, 0.0, 9.1)
    answer = gas_settled(TIME, stream, settle_s=60.0)
    assert not answer.probe_out
    assert answer.since_change_s < 85.0


def test_a_boiler_warming_up_is_not_steady_while_its_gas_is_settled():
    warming = {"flue_temp_c": 50.0 + 0.05 * TIME, "return_temp_c": np.full(len(TIME), 40.0)}
    assert thermally_steady(TIME, warming) is False
    assert thermally_steady(TIME, {name: np.full(len(TIME), 55.0) for name in warming}) is True
    assert thermally_steady(TIME[:5], {"flue_temp_c": np.full(5, 55.0)}) is None
    assert thermally_steady(TIME, {"flue_temp_c": np.full(len(TIME), np.nan)}) is None
