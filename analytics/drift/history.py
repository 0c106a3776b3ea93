"""What the drift statistics are given: one row per burner and visit, as plain arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
AnyArray = npt.NDArray[Any]

HIGH, LOW = 0, 1
THROTTLE, OFFSET = 0, 1
FOUND, LEFT = 0, 1
UNKNOWN = -1

_PAIRS = frozenset(
    {"found_phi", "found_var", "left_phi", "left_var", "low_air_rate", "air_temp_c"}
    | {"moved_before", "adjusted", "period"}
)
_PER_BURNER = frozenset({"appliance", "model", "control_pressure_pa"})
_TYPES = {"IntArray": np.int64, "FloatArray": np.float64, "BoolArray": np.bool_}


@dataclass(frozen=True)
class History:
    """Readings of a fleet's premix burners, B burners and N visits in any order.

    Per burner (B,): appliance, model (peers): small whole numbers.  control_pressure_pa: air signal at high
    fire [Pa], NaN where unknown.
    Per visit (N,): burner, 0 to B-1.  day [days from any origin].  area, month: gas area and running month,
    -1 unknown.  new_state: True where a part, the fuel or the fan's limits changed before this visit's
    as-left readings: what came before says nothing of this trim any more.  fuel: any numbering.
    Per visit and firing point (N, 2), high then low: found_phi, left_phi: 1/air ratio [-], NaN where not
    read;
    left_phi is NaN throughout where nothing was read again.  found_var, left_var: variance of ln phi [-] from
    the reading's own noise.  moved_before: as-found test read after a trim had moved.
    Per visit and trim (N, 2), throttle then offset: adjusted.
    Per visit and phase (N, 2), as found then as left: low_air_rate: air at low over high fire [-] (1/turndown
    where the fan was not recorded), NaN unknown.  air_temp_c at the burner's inlet [°C], NaN unknown.
    period: analyser period, -1 unknown.
    ``checked`` raises ValueError naming the field, the value and the limit.
    """

    appliance: IntArray
    model: IntArray
    control_pressure_pa: FloatArray
    burner: IntArray
    day: FloatArray
    area: IntArray
    month: IntArray
    fuel: IntArray
    new_state: BoolArray
    found_phi: FloatArray
    found_var: FloatArray
    left_phi: FloatArray
    left_var: FloatArray
    moved_before: BoolArray
    adjusted: BoolArray
    low_air_rate: FloatArray
    air_temp_c: FloatArray
    period: IntArray

    @property
    def burners(self) -> int:
        return len(self.appliance)

    @property
    def visits(self) -> int:
        return len(self.burner)

    def checked(self) -> History:
        """The same history, of settled types, sorted by burner and day, each visit once."""
        cast: dict[str, AnyArray] = {
            f.name: np.asarray(getattr(self, f.name), _TYPES[str(f.type)]) for f in fields(self)
        }
        _check_shapes(cast)
        _check_values(cast)
        rows = {name: array for name, array in cast.items() if name not in _PER_BURNER}
        if not _in_order(rows["burner"], rows["day"]):
            order = np.lexsort((rows["day"], rows["burner"]))
            rows = {name: array[order] for name, array in rows.items()}
        twin = _twins(rows)
        if twin.any():
            rows = {name: array[~twin] for name, array in rows.items()}
        return replace(self, **{**cast, **rows})

    def rows(self, chosen: IntArray | BoolArray) -> History:
        """The same burners with only the chosen visits."""
        return replace(
            self, **{f.name: getattr(self, f.name)[chosen] for f in fields(self) if f.name not in _PER_BURNER}
        )


def of_one_burner(history: History, burner: int) -> History:
    """One burner's history, renumbered as burner 0 of appliance 0; the model's number is kept."""
    one = history.rows(history.burner == burner)
    return replace(
        one,
        appliance=np.zeros(1, np.int64),
        model=history.model[burner : burner + 1],
        control_pressure_pa=history.control_pressure_pa[burner : burner + 1],
        burner=np.zeros(one.visits, np.int64),
    )


def _check_shapes(arrays: dict[str, AnyArray]) -> None:
    burners, visits = len(arrays["appliance"]), len(arrays["burner"])
    for name, array in arrays.items():
        shape: tuple[int, ...] = (burners,) if name in _PER_BURNER else (visits,)
        if name in _PAIRS:
            shape = (visits, 2)
        if array.shape != shape:
            raise ValueError(f"{name} has shape {array.shape}; it must be {shape}")


def _check_values(arrays: dict[str, AnyArray]) -> None:
    burner, burners = arrays["burner"], len(arrays["appliance"])
    _refuse("burner", burner, (burner < 0) | (burner >= burners), f"0 to {burners - 1}")
    day = arrays["day"]
    _refuse("day", day, ~np.isfinite(day), "finite")
    for phase in ("found", "left"):
        phi, var = arrays[f"{phase}_phi"], arrays[f"{phase}_var"]
        _refuse(f"{phase}_phi", phi, (phi <= 0.0) | np.isinf(phi), "above 0")
        _refuse(f"{phase}_var", var, np.isfinite(phi) & ~((var > 0.0) & np.isfinite(var)), "above 0")
    rate = arrays["low_air_rate"]
    _refuse("low_air_rate", rate, (rate <= 0.0) | (rate > 1.0), "above 0 and at most 1")
    air = arrays["air_temp_c"]
    _refuse("air_temp_c", air, (air < -60.0) | (air > 80.0), "-60 to 80")
    pressure = arrays["control_pressure_pa"]
    _refuse("control_pressure_pa", pressure, pressure <= 0.0, "above 0")


def _refuse(name: str, values: AnyArray, wrong: AnyArray, limit: str) -> None:
    if np.any(wrong):
        at = int(np.flatnonzero(np.any(np.atleast_2d(wrong.T), axis=0))[0])
        raise ValueError(f"{name} of row {at} is {values[at]}; it must be {limit}")


def _in_order(burner: IntArray, day: FloatArray) -> bool:
    later = burner[1:] == burner[:-1]
    return bool(np.all((burner[1:] > burner[:-1]) | (later & (day[1:] >= day[:-1]))))


def _twins(rows: dict[str, AnyArray]) -> BoolArray:
    """Visits that repeat the one before in burner, day and readings: an import done twice is no evidence."""
    twin = np.zeros(len(rows["burner"]), np.bool_)
    if len(twin) > 1:
        same = np.ones(len(twin) - 1, np.bool_)
        for name in ("burner", "day"):
            same &= rows[name][1:] == rows[name][:-1]
        for name in ("found_phi", "left_phi"):
            later, earlier = rows[name][1:], rows[name][:-1]
            same &= np.all((later == earlier) | ((later != later) & (earlier != earlier)), axis=1)
        twin[1:] = same
    return twin
