"""What the statistics answer, in the shape that is stored: arrays in the order of what was read."""

from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

EPOCH = date(1970, 1, 1)
"""Days of histories count from here."""
FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Trims:
    """Per burner and trim (B, 2), throttle then offset; NaN where there is no estimate.

    The throttle in % of K, the offset in the unit of `pascal` (B,): Pa where the air signal is known, else
    1e-3 of w. Changes are per year, with 95 % intervals.   reason: a `Reason`'s value where there is no
    drift, else empty.   change_points: (burner, trim) to rows of day, probability.
    """

    pascal: BoolArray
    visits: IntArray
    state: FloatArray
    state_u: FloatArray
    drift: FloatArray
    drift_low: FloatArray
    drift_high: FloatArray
    moved: FloatArray
    usual: FloatArray
    from_analyser: FloatArray
    from_gas: FloatArray
    wander_probability: FloatArray
    flagged: BoolArray
    reason: npt.NDArray[np.str_]
    change_points: dict[tuple[int, int], list[list[Any]]] = field(default_factory=dict)


@dataclass(frozen=True)
class Appliances:
    """Per appliance (A,).   next_visit_day: days since 1970 by which it should be seen, NaN none.

    outside_day (H,), outside (A, H): probability of being outside its band on some days.
    """

    wander_probability: FloatArray
    flagged: BoolArray
    next_visit_day: FloatArray
    outside_day: IntArray
    outside: FloatArray


@dataclass(frozen=True)
class Biases:
    """Per analyser period (P,): reading minus truth [% CO2 at 9 %], its uncertainty, readings, weak."""

    bias: FloatArray
    u: FloatArray
    readings: IntArray
    weak: BoolArray


@dataclass(frozen=True)
class Shifts:
    """Per gas area and running month (C,): shift of the mixture [%], its uncertainty, readings, weak."""

    area: IntArray
    month: IntArray
    shift: FloatArray
    u: FloatArray
    readings: IntArray
    weak: BoolArray


@dataclass(frozen=True)
class Estimates:
    """All that one fit of the fleet answers."""

    trims: Trims
    appliances: Appliances
    biases: Biases
    shifts: Shifts
