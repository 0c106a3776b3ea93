"""The record as the arrays that the statistics take: one row per burner and closed visit."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from django.utils import timezone

from analytics.drift.history import LOW, UNKNOWN, History
from analytics.estimates import EPOCH
from analytics.reading import sources
from analytics.reading.columns import Columns, rows_of
from analytics.reading.gases import Gases, gases_read
from analytics.reading.mixture import FloatArray, IntArray, mixture_of

PLAUSIBLE_AIR_C = (-40.0, 60.0)
LEAST_AIR_RATE = 0.02
SAME_STATE_SIGMAS = 4.0
"""Repeated readings of one state are averaged; one further from the chosen reading than this is not."""
_SEQUENCE_BITS = 20

Progress = Callable[[str, int], object]
"""Told the step, and how many more rows of it are done."""


@dataclass(frozen=True)
class Numbering:
    """Ids, in order, of the models, analyser periods and gas areas that a history's numbers stand for."""

    model_ids: IntArray
    period_ids: IntArray
    area_ids: IntArray


@dataclass(frozen=True)
class FleetHistory:
    """What was read. Rows of `history` stand in order of burner and day.

    Per burner (B,): burner_id, appliance_id, model_id, fuel (place in sources.FUELS).   appliance_ids (A,).
    visit_id (N,).   tests: how many were used.   gases: what burns; gas (N,): the number of what burned,
    gas_now (B,): of what burns today. What the gas adds to ln phi is taken off the readings.
    """

    history: History
    burner_id: IntArray
    appliance_id: IntArray
    model_id: IntArray
    fuel: IntArray
    appliance_ids: IntArray
    numbering: Numbering
    visit_id: IntArray
    tests: int
    gases: Gases
    gas: IntArray
    gas_now: IntArray


@dataclass(frozen=True)
class _Tests:
    """Tests by place: visit and burner as rows of their tables, slot 2 x phase + point. Kept narrow."""

    visit: npt.NDArray[Any]
    burner: npt.NDArray[Any]
    slot: npt.NDArray[Any]
    fuel: npt.NDArray[Any]
    moved: npt.NDArray[np.bool_]
    sequence: npt.NDArray[Any]
    ln_phi: npt.NDArray[Any]
    var: npt.NDArray[Any]
    air_c: npt.NDArray[Any]
    fan_rpm: npt.NDArray[Any]


def history_read(
    appliance_ids: Sequence[int] | None = None,
    *,
    numbering: Numbering | None = None,
    progress: Progress = lambda step, rows: None,
) -> FleetHistory:
    """Read the whole fleet's history, or that of some appliances, in a fixed number of queries.

    numbering: of an earlier history, to be kept. A period or an area that it lacks is then unknown, and a
    model gets the number after its last.
    """
    burners = _sorted(sources.burners_read(appliance_ids), "id")
    visits = _sorted(sources.visits_read(appliance_ids), "id")
    gases = gases_read()
    tests = _tests(burners, visits, gases, appliance_ids, progress)
    pair_burner, pair_visit, pair = _pairs(tests, visits)
    adjusted = _adjusted(burners, visits, pair_burner, pair_visit, appliance_ids)
    values = _by_slot(tests, pair, len(pair_burner))
    new_state, era = _eras(burners, visits, pair_burner, pair_visit, appliance_ids)
    appliances, appliance = np.unique(burners["appliance"], return_inverse=True)
    numbers = numbering or Numbering(
        model_ids=_known(burners["model"]),
        period_ids=_known(visits["period"][pair_visit]),
        area_ids=_known(burners["area"]),
    )
    model = rows_of(numbers.model_ids, burners["model"])
    model = np.where(model < 0, len(numbers.model_ids), model)
    period = rows_of(numbers.period_ids, visits["period"][pair_visit])
    area = rows_of(numbers.area_ids, burners["area"])
    fan_high = burners["fan_high_rpm"][pair_burner]
    turndown = burners["turndown"][pair_burner]
    first_of_pair = np.full(len(pair_burner), len(pair), np.int64)
    np.minimum.at(first_of_pair, pair, np.arange(len(pair)))
    fuel = tests.fuel[first_of_pair]
    return FleetHistory(
        history=History(
            appliance=appliance,
            model=model,
            control_pressure_pa=np.where(burners["signal_pa"] > 0, burners["signal_pa"], np.nan),
            burner=pair_burner,
            day=visits["day"][pair_visit],
            area=area[pair_burner],
            month=visits["month"][pair_visit].astype(np.int64),
            fuel=era * len(sources.FUELS) + fuel,
            new_state=new_state,
            found_phi=np.exp(values.ln_phi[:, :2]),
            found_var=values.var[:, :2],
            left_phi=np.exp(values.ln_phi[:, 2:]),
            left_var=values.var[:, 2:],
            moved_before=values.moved[:, :2],
            adjusted=adjusted,
            low_air_rate=_low_air_rate(values.fan_rpm, fan_high, turndown),
            air_temp_c=_other_phase_fills(values.air_c),
            period=np.stack([period, period], axis=1),
        ),
        burner_id=burners["id"],
        appliance_id=burners["appliance"],
        model_id=burners["model"],
        fuel=burners["fuel"].astype(np.int64),
        appliance_ids=appliances,
        numbering=numbers,
        visit_id=visits["id"][pair_visit],
        tests=len(tests.visit),
        gases=gases,
        gas=gases.burned(
            burners["site"][pair_burner],
            burners["area"][pair_burner],
            fuel.astype(np.int64),
            visits["local_day"][pair_visit],
        ),
        gas_now=gases.burned(
            burners["site"],
            burners["area"],
            burners["fuel"].astype(np.int64),
            np.full(len(burners["id"]), float((timezone.localdate() - EPOCH).days)),
        ),
    )


def _tests(
    burners: Columns,
    visits: Columns,
    gases: Gases,
    appliance_ids: Sequence[int] | None,
    progress: Progress,
) -> _Tests:
    used = None if appliance_ids is None else np.unique(visits["analyser"][visits["analyser"] >= 0]).tolist()
    analysers = sources.analysers_read(used)
    of_visit = rows_of(analysers["id"], visits["analyser"])
    kept = []
    for batch in sources.test_batches(appliance_ids):
        progress("reading", len(batch["visit"]))
        visit, burner = rows_of(visits["id"], batch["visit"]), rows_of(burners["id"], batch["burner"])
        analyser = np.where(visit >= 0, of_visit[visit], UNKNOWN) if len(of_visit) else visit
        burned = _burned(gases, burners, visits, burner, visit, batch["fuel"].astype(np.int64))
        phi, var = mixture_of(batch, analysers, analyser, burned, gases.fuels)
        use = np.isfinite(phi) & (visit >= 0) & (burner >= 0)
        # read after the throttle had moved: taken back by the change at high fire where that is known
        shift, u_shift = batch["inferred_ln_phi"], batch["inferred_u_ln_phi"]
        taken_back = np.isfinite(shift)
        kept.append(
            (
                visit[use].astype(np.int32),
                burner[use].astype(np.int32),
                (2 * batch["phase"] + batch["point"])[use].astype(np.int8),
                batch["fuel"][use].astype(np.int8),
                ((batch["moved_before"] == 1) & ~taken_back)[use],
                batch["sequence"][use],
                (np.log(phi) - np.where(taken_back, shift, 0.0) - gases.ln_g[burned])[use].astype(np.float32),
                (var + np.where(taken_back, u_shift, 0.0) ** 2)[use].astype(np.float32),
                batch["air_temp_c"][use],
                batch["fan_rpm"][use],
            )
        )
    if not kept:
        whole, real = np.empty(0, np.int32), np.empty(0, np.float32)
        return _Tests(whole, whole, whole, whole, whole == 1, whole, real, real, real, real)
    return _Tests(*(np.concatenate(columns) for columns in zip(*kept, strict=True)))


def _burned(
    gases: Gases, burners: Columns, visits: Columns, burner: IntArray, visit: IntArray, fuel: IntArray
) -> IntArray:
    """The gas of each test; that of the catalogue where burner or visit is not among those read."""
    if not len(burners["id"]) or not len(visits["id"]):
        return fuel
    known = (burner >= 0) & (visit >= 0)
    return np.where(
        known,
        gases.burned(burners["site"][burner], burners["area"][burner], fuel, visits["local_day"][visit]),
        fuel,
    )


def _pairs(tests: _Tests, visits: Columns) -> tuple[IntArray, IntArray, IntArray]:
    """Burner and visit of every row, in order of burner and day, and each test's row."""
    count = max(len(visits["id"]), 1)
    key = tests.burner.astype(np.int64) * count + tests.visit
    keys, pair = np.unique(key, return_inverse=True)
    burner, visit = keys // count, keys % count
    order = np.lexsort((visits["day"][visit], burner))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    return burner[order], visit[order], rank[pair]


@dataclass(frozen=True)
class _Slots:
    """Per row and slot (N, 4): as found high, low, as left high, low. Air and fan per phase (N, 2)."""

    ln_phi: FloatArray
    var: FloatArray
    moved: npt.NDArray[np.bool_]
    air_c: FloatArray
    fan_rpm: FloatArray


def _by_slot(tests: _Tests, pair: IntArray, rows: int) -> _Slots:
    """The first readings as found, before a move where there are any, and the last as left."""
    key = pair * 4 + tests.slot
    found = tests.slot < 2
    late = tests.moved & found
    sequence = np.minimum(tests.sequence, 2**_SEQUENCE_BITS - 1)
    order = np.argsort((((key << 1) | late) << _SEQUENCE_BITS) | sequence, kind="stable")
    key, ln_phi, var, late = key[order], tests.ln_phi[order], tests.var[order], late[order]
    start = np.flatnonzero(np.diff(key, prepend=-1))
    size = np.diff(np.append(start, len(key)))
    chosen = np.where(found[order][start], start, start + size - 1) if len(start) else start
    of_group = np.repeat(chosen, size)
    apart = np.abs(ln_phi - ln_phi[of_group])
    same = (apart <= SAME_STATE_SIGMAS * np.sqrt(var + var[of_group])) & (late == late[of_group])
    slots = _Slots(
        ln_phi=np.full((rows, 4), np.nan),
        var=np.full((rows, 4), np.nan),
        moved=np.zeros((rows, 4), np.bool_),
        air_c=_phase_means(tests.air_c, *PLAUSIBLE_AIR_C, pair, tests.slot // 2, rows),
        fan_rpm=_phase_means(
            np.where(tests.slot % 2 == LOW, tests.fan_rpm, np.nan), 1.0, 1e5, pair, tests.slot // 2, rows
        ),
    )
    if len(start):
        # each is the mean of the readings of one state; their own noises are independent
        count = np.add.reduceat(same.astype(np.float64), start)
        at = key[start]
        slots.ln_phi.ravel()[at] = (
            np.add.reduceat(np.where(same, ln_phi, 0.0).astype(np.float64), start) / count
        )
        slots.var.ravel()[at] = np.add.reduceat(np.where(same, var, 0.0).astype(np.float64), start) / count**2
        slots.moved.ravel()[at] = late[chosen]
    return slots


def _phase_means(
    values: npt.NDArray[Any], low: float, high: float, pair: IntArray, phase: IntArray, rows: int
) -> FloatArray:
    """Mean per row and phase of the values within limits (N, 2), NaN where there is none."""
    with np.errstate(invalid="ignore"):
        usable = (values >= low) & (values <= high)
    key = (pair * 2 + phase)[usable]
    total = np.bincount(key, values[usable], minlength=2 * rows)
    count = np.bincount(key, minlength=2 * rows)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan).reshape(rows, 2))


def _other_phase_fills(values: FloatArray) -> FloatArray:
    return np.asarray(np.where(np.isnan(values), values[:, ::-1], values))


def _low_air_rate(fan_low_rpm: FloatArray, fan_high_rpm: FloatArray, turndown: FloatArray) -> FloatArray:
    """Air at low over high fire (N, 2): by the fan where its speed was read, else by the nameplate."""
    with np.errstate(invalid="ignore", divide="ignore"):
        by_fan = _other_phase_fills(fan_low_rpm / fan_high_rpm[:, None])
        nameplate = np.where(turndown > 1.0, 1.0 / turndown, np.nan)[:, None]
        usable = (by_fan >= LEAST_AIR_RATE) & (by_fan < 1.0)
    return np.asarray(np.where(usable, by_fan, nameplate))


def _adjusted(
    burners: Columns,
    visits: Columns,
    pair_burner: IntArray,
    pair_visit: IntArray,
    appliance_ids: Sequence[int] | None,
) -> npt.NDArray[np.bool_]:
    moves = sources.adjustments_read(appliance_ids)
    adjusted = np.zeros((len(pair_burner), 2), np.bool_)
    row = _row_of_pair(burners, visits, pair_burner, pair_visit, moves["burner"], moves["visit"])
    adjusted[row[row >= 0], moves["trim"][row >= 0]] = True
    return adjusted


def _eras(
    burners: Columns,
    visits: Columns,
    pair_burner: IntArray,
    pair_visit: IntArray,
    appliance_ids: Sequence[int] | None,
) -> tuple[npt.NDArray[np.bool_], IntArray]:
    """Rows at whose visit a part was fitted, and each row's count of parts fitted between visits before it.

    The statistics begin a new state as found where the fuel's number changes, so that count goes into it.
    """
    parts = sources.parts_read(appliance_ids)
    new_state, era = np.zeros(len(pair_burner), np.bool_), np.zeros(len(pair_burner), np.int64)
    row = _row_of_pair(burners, visits, pair_burner, pair_visit, parts["burner"], parts["visit"])
    new_state[row[row >= 0]] = True
    burner = rows_of(burners["id"], parts["burner"])
    day = visits["day"][pair_visit]
    for place in np.flatnonzero((row < 0) & (burner >= 0)):
        first, end = np.searchsorted(pair_burner, [burner[place], burner[place] + 1])
        era[first + np.searchsorted(day[first:end], parts["day"][place]) : end] += 1
    return new_state, era


def _row_of_pair(
    burners: Columns,
    visits: Columns,
    pair_burner: IntArray,
    pair_visit: IntArray,
    burner_ids: IntArray,
    visit_ids: IntArray,
) -> IntArray:
    """Row of each (burner, visit), -1 where there is none."""
    burner, visit = rows_of(burners["id"], burner_ids), rows_of(visits["id"], visit_ids)
    count = max(len(visits["id"]), 1)
    keys = pair_burner * count + pair_visit
    order = np.argsort(keys)
    place = rows_of(keys[order], np.where((burner >= 0) & (visit >= 0), burner * count + visit, UNKNOWN))
    return np.where(place >= 0, order[place], UNKNOWN) if len(order) else place


def _known(ids: IntArray) -> IntArray:
    """The ids there are, in order."""
    return np.unique(ids[ids >= 0])


def _sorted(columns: Columns, by: str) -> Columns:
    order = np.argsort(columns[by])
    return {name: values[order] for name, values in columns.items()}
