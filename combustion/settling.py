"""Settled or not: when a stream of readings may be trusted, and which of them stand for it.

The gas has settled when the analyser has had its time since the last change, and slope and scatter are inside
its resolution. The boiler is thermally steady when its temperatures are: that is another thing, and takes
longer. Relative times only: a clock that is an hour off changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from combustion.arrays import F64, as_float
from combustion.autocorrelated import FEWEST, NORMAL_95, WindowEstimate, window_estimate, window_estimates

WINDOWS_S: Final = (60.0, 30.0)  # lengths tried, the longer first: assumed, no source
LEAST_READINGS: Final = 8  # fewer say nothing of slope and scatter: assumed, no source
SURELY_NOT: Final = 0.05  # of a drift inside the limit: the reading moves, whatever its scatter
LEAST_SPAN: Final = 0.7  # share of a window's length that its readings must cover: assumed, no source
P_FLAT: Final = 0.5  # probability of a drift inside the limit that counts as no drift: assumed, no source
P_QUIET: Final = 0.5  # the same of the standard deviation
IN_AIR_O2_PCT: Final = 18.0  # at or above, the probe stands in air: assumed, no source
IN_AIR_CO2_PCT: Final = 0.5  # below, where O2 is not read: assumed, no source
RESOLUTION: Final[Mapping[str, float]] = {"o2_pct": 0.1, "co2_pct": 0.1}  # common practice, no source
FLICKER_PPM: Final = 10.0  # drift and scatter of CO that still count as settled: assumed, no source
FLICKER_SHARE: Final = 0.1  # the same as a share of the reading: assumed, no source
STEADY_K: Final = 1.0  # temperature drift over the window that counts as steady: assumed, no source
STEADY_WINDOW_S: Final = 60.0  # window in which it is looked for: assumed, no source
TIME_CONSTANTS: Final = 4.0  # of the sensor within the time an analyser takes to settle: assumed, no source


@dataclass(frozen=True)
class GasSettling:
    """Whether the gas readings of a stream have settled, and the window they are taken from.

    settled: yes or no.   why: "" or one of too_soon, too_few, sloping, scattered.   to_go_s: seconds still to
    wait, at least, 0 where settled.   since_change_s: from the last change to the end of the window.
    window: rows of the stream, as given, that the values are the means of.   probe_out: the probe stood in
    air after it had stood in flue gas, and only what came before counts.   of: channel to its estimate.
    Limits: a result.   Units: seconds; channels their own.   Source: docs/formulas.md, «settled values».
    """

    settled: bool
    why: str
    to_go_s: float
    since_change_s: float
    window: NDArray[np.intp]
    probe_out: bool
    of: Mapping[str, WindowEstimate]


def gas_settled(
    time_s: ArrayLike,
    channels: Mapping[str, ArrayLike],
    *,
    settle_s: float,
    changed_s: float | None = None,
    resolution: Mapping[str, float] = RESOLUTION,
) -> GasSettling:
    """Whether a stream has settled: the analyser has had its time, slope and scatter are small enough.

    time_s (n,): seconds from any origin, in any order; doubled times count once, NaN not at all.
    channels: `o2_pct`, `co2_pct` (dry, vol %), `co_ppm` (dry); (n,) each, NaN where not read. O2 and CO2 are
    held against their resolution, CO against 10 ppm or a tenth of itself, whichever is more.
    settle_s: what the analyser takes after a change [s].   changed_s: the last change, on the stream's clock
    [s]; the first reading in flue gas where None. A later one inside the stream counts instead.
    Limits: at least one reading with a time, else ValueError.   Source: common practice (design: 30 to 90 s,
    no source); the statistics as window_estimate.

    >>> t = np.arange(0.0, 150.0, 3.0)
    >>> gas_settled(t, {"o2_pct": 4.8 + 0.0 * t}, settle_s=60.0).settled
    True
    >>> answer = gas_settled(t[:20], {"o2_pct": 4.8 + 0.0 * t[:20]}, settle_s=60.0)
    >>> answer.why, answer.to_go_s
    ('too_soon', 33.0)
    """
    time = as_float(time_s)
    order = np.argsort(time, kind="stable")
    order = order[np.isfinite(time[order])]
    if not len(order):
        raise ValueError("time_s has no finite time; at least one reading needs one")
    order = order[np.append(True, np.diff(time[order]) > 0.0)]
    values = {name: as_float(value)[order] for name, value in channels.items()}
    times = time[order]
    first, end, probe_out = _in_flue_gas(values, len(times))
    begun = times[first] if first or changed_s is None else changed_s
    begun = min(max(begun, changed_s if changed_s is not None else begun), times[end - 1])
    answer = _latest(times, values, first, end, float(begun), settle_s, resolution, back=probe_out)
    why, estimates, rows = answer
    since = float(times[rows[-1]] - begun)
    return GasSettling(
        settled=not why,
        why=why,
        to_go_s=_to_go(why, since, settle_s, estimates, resolution),
        since_change_s=since,
        window=order[rows],
        probe_out=probe_out,
        of=estimates,
    )


def thermally_steady(time_s: ArrayLike, temperatures: Mapping[str, ArrayLike]) -> bool | None:
    """Whether the boiler is thermally steady: each temperature drifts less than 1 K over the last minute.

    time_s (n,): seconds, in any order.   temperatures: flue, return and flow temperature [°C], (n,) each, NaN
    where not read; those never read are left out.   Returns: None where the stream is too short to tell.
    Limits: none.   Source: the limit is assumed, no source; the statistics as window_estimate.

    >>> t = np.arange(0.0, 90.0, 3.0)
    >>> [thermally_steady(t, {"flue_temp_c": 58.0 + k_s * t}) for k_s in (0.0, 0.1)]
    [True, False]
    """
    time = as_float(time_s)
    known = [column for column in map(as_float, temperatures.values()) if np.isfinite(column).any()]
    if not known or not np.isfinite(time).any():
        return None
    steady = True
    for column in known:
        use = np.isfinite(time) & np.isfinite(column)
        use &= time >= np.nanmax(time) - STEADY_WINDOW_S
        times, places = np.unique(time[use], return_index=True)
        if len(times) < LEAST_READINGS or times[-1] - times[0] < LEAST_SPAN * STEADY_WINDOW_S:
            return None
        estimate = window_estimate(times, column[use][places], limit=STEADY_K)
        steady = steady and estimate.p_flat >= P_FLAT
    return steady


def _limit(name: str, values: F64, resolution: Mapping[str, float]) -> float:
    if name == "co_ppm":
        return max(FLICKER_PPM, FLICKER_SHARE * abs(float(np.mean(values))))
    return resolution.get(name) or RESOLUTION.get(name, 0.1)


def _in_flue_gas(values: Mapping[str, F64], count: int) -> tuple[int, int, bool]:
    """First and end row of the last stretch in flue gas, and whether the probe fell out after it."""
    o2, co2 = values.get("o2_pct"), values.get("co2_pct")
    blank = np.full(count, np.nan)
    o2, co2 = (blank if o2 is None else o2), (blank if co2 is None else co2)
    with np.errstate(invalid="ignore"):
        in_air = np.where(np.isnan(o2), co2 < IN_AIR_CO2_PCT, o2 >= IN_AIR_O2_PCT)
    inside = np.flatnonzero(~in_air)
    if not len(inside):
        return 0, count, False
    end = int(inside[-1]) + 1
    before = np.flatnonzero(in_air[:end])
    return (int(before[-1]) + 1 if len(before) else 0), end, end < count


def _latest(
    times: F64,
    values: Mapping[str, F64],
    first: int,
    end: int,
    begun: float,
    settle_s: float,
    resolution: Mapping[str, float],
    *,
    back: bool,
) -> tuple[str, dict[str, WindowEstimate], NDArray[np.intp]]:
    """Why the latest window is not settled ("" where it is), its estimates and rows.

    Where the probe fell out the readings were already leaving: then earlier ends are tried too.
    """
    ends = [end]
    if back:
        gone = times[end - 1] - np.array([5.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0])
        ends += [int(e) for e in np.searchsorted(times, gone, side="right") if first < e < end]
    tried: list[tuple[str, dict[str, WindowEstimate], NDArray[np.intp]]] = []
    for stop in ends:
        for length in WINDOWS_S:
            start = max(begun + settle_s, times[stop - 1] - length)
            rows = np.arange(max(first, int(np.searchsorted(times, start - 1e-6))), stop)
            tried.append(_judged(times, values, rows, length, begun + settle_s, resolution))
            if not tried[-1][0]:
                return tried[-1]
    judged = [answer for answer in tried[: len(WINDOWS_S)] if answer[1]]
    if judged and not back:
        return judged[-1]
    why = (judged or tried[: len(WINDOWS_S)])[-1][0]
    # Not to be trusted, and still the best there is: the last window, or the calmest before the probe left.
    windows = [_last_window(times, first, stop) for stop in ends]
    rows = min(windows, key=lambda window: _swing(values, window, resolution)) if back else windows[0]
    return why, _plain_estimates(values, rows, resolution), rows


def _swing(values: Mapping[str, F64], rows: NDArray[np.intp], resolution: Mapping[str, float]) -> float:
    """The widest range of a channel over the rows, in its limits."""
    ranges = [
        float(np.ptp(known)) / _limit(name, known, resolution)
        for name, column in values.items()
        if len(known := column[rows][np.isfinite(column[rows])])
    ]
    return max(ranges, default=np.inf)


def _plain_estimates(
    values: Mapping[str, F64], rows: NDArray[np.intp], resolution: Mapping[str, float]
) -> dict[str, WindowEstimate]:
    """Of readings that have not settled: their mean, as uncertain as one of them is."""
    estimates = {}
    for name, column in values.items():
        known = column[rows][np.isfinite(column[rows])]
        if len(known):
            rounding = resolution.get(name, RESOLUTION.get(name, 0.0)) / np.sqrt(12.0)
            half = NORMAL_95 * float(np.hypot(np.std(known, ddof=1) if len(known) > 1 else 0.0, rounding))
            drift = float(known[-1] - known[0])
            estimates[name] = WindowEstimate(float(np.mean(known)), half, drift, 0.0, 0.0, len(known))
    return estimates


def _last_window(times: F64, first: int, stop: int) -> NDArray[np.intp]:
    return np.arange(max(first, int(np.searchsorted(times, times[stop - 1] - WINDOWS_S[-1] - 1e-6))), stop)


def _judged(
    times: F64,
    values: Mapping[str, F64],
    rows: NDArray[np.intp],
    length: float,
    ready: float,
    resolution: Mapping[str, float],
) -> tuple[str, dict[str, WindowEstimate], NDArray[np.intp]]:
    shortest = LEAST_SPAN * WINDOWS_S[-1]
    if not len(rows) or times[rows[-1]] - ready < shortest:
        return "too_soon", {}, rows
    span = times[rows[-1]] - times[rows[0]]
    if (
        len(rows) < LEAST_READINGS
        or span < shortest
        or (length > WINDOWS_S[-1] and span < LEAST_SPAN * length)
    ):
        return "too_few", {}, rows
    estimates = _estimates(times, values, rows, resolution)
    if not any(name in ("o2_pct", "co2_pct") for name in estimates):
        return "too_few", estimates, rows
    if any(estimate.readings < LEAST_READINGS for estimate in estimates.values()):
        return "too_few", estimates, rows
    if any(estimate.p_quiet < P_QUIET for estimate in estimates.values()):
        flat = all(estimate.p_flat >= SURELY_NOT for estimate in estimates.values())
        return "scattered" if flat else "sloping", estimates, rows
    if any(estimate.p_flat < P_FLAT for estimate in estimates.values()):
        return "sloping", estimates, rows
    return "", estimates, rows


def _estimates(
    times: F64, values: Mapping[str, F64], rows: NDArray[np.intp], resolution: Mapping[str, float]
) -> dict[str, WindowEstimate]:
    """Each channel's estimate; channels read at the same moments are estimated together."""
    together: dict[bytes, list[str]] = {}
    finite = {name: np.isfinite(column[rows]) for name, column in values.items()}
    for name, mask in finite.items():
        if np.count_nonzero(mask) >= FEWEST:
            together.setdefault(mask.tobytes(), []).append(name)
    estimates: dict[str, WindowEstimate] = {}
    for names in together.values():
        use = rows[finite[names[0]]]
        y = np.stack([values[name][use] for name in names])
        steps = np.array([resolution.get(name) or RESOLUTION.get(name, 0.0) for name in names])
        bounds = np.array([_limit(name, column, resolution) for name, column in zip(names, y, strict=True)])
        estimates.update(zip(names, window_estimates(times[use], y, steps, bounds), strict=True))
    return estimates


def _to_go(
    why: str,
    since: float,
    settle_s: float,
    estimates: Mapping[str, WindowEstimate],
    resolution: Mapping[str, float],
) -> float:
    """Seconds still to wait: the analyser's time and a window, or until the slope has died away."""
    if not why:
        return 0.0
    due = settle_s + WINDOWS_S[-1] - since
    if why == "sloping":
        excess = max(
            (abs(e.drift) / _limit(name, np.array([e.mean]), resolution) for name, e in estimates.items()),
            default=1.0,
        )
        due = max(due, settle_s / TIME_CONSTANTS * float(np.log(max(excess, 1.0))))
    return max(due, WINDOWS_S[-1] / 3.0)
