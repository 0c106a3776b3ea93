"""How far an analyser can be trusted: its class, the age of its calibration, and what is known of its bias.

Each reading's error is split in two: the part of its own (noise, drift of the flame), and the part that every
reading of that analyser shares until it is calibrated again. Only the second is common to several firing
points.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float, refuse
from combustion.errors import OutOfRange
from combustion.readings import MEASURED, AnalyserSetting, Readings

CALIBRATION_DAYS: Final = 365.0  # common practice, no source
WIDENING_PER_YEAR: Final = 0.5  # of the shared part, per year past calibration: assumed, no source
WIDENING_UNKNOWN: Final = 2.0  # where the calibration date is not known: assumed, no source
OWN_SHARE: Final = 0.4  # own error over the class's standard uncertainty: assumed, no source
COVERAGE: Final = 2.0  # a class's limit of error read as expanded uncertainty, k = 2


@dataclass(frozen=True)
class ErrorLimit:
    """Largest permissible error of one channel up to a reading: the greater of absolute and relative.

    up_to, absolute: the channel's unit.   relative: share of the reading [-].   Limits: not negative.
    Source: that of its class.
    """

    up_to: float
    absolute: float
    relative: float = 0.0


@dataclass(frozen=True)
class AccuracyClass:
    """Permissible errors per channel, in ascending ranges, the last for all above. Units: the channels'.

    Limits: at least one range per channel.   Source: in `source`.
    """

    name: str
    source: str
    channels: Mapping[str, tuple[ErrorLimit, ...]]

    def error_limit(self, channel: str, value: ArrayLike) -> F64:
        """Largest permissible error at a reading, in the channel's unit; NaN gives NaN.

        Limits: a channel of this class, else OutOfRange.   Source: the class's.

        >>> EN_50379.error_limit("co_ppm", [100.0, 1000.0]).tolist()
        [20.0, 50.0]
        """
        if channel not in self.channels:
            known = ", ".join(self.channels)
            raise OutOfRange("channel", channel, f"one of {known}", code="unknown_channel")
        size = np.abs(as_float(value))
        ranges = self.channels[channel]
        result = np.full(size.shape, np.nan)
        for r in reversed(ranges):
            within = (size <= r.up_to) | (r is ranges[-1])
            result = np.where(within, np.maximum(r.absolute, r.relative * size), result)
        return np.where(np.isnan(size), np.nan, result)

    def standard_uncertainty(self, channel: str, value: ArrayLike) -> F64:
        """Standard uncertainty at a reading: the limit of error over 2, in the channel's unit.

        Limits: a channel of this class, else OutOfRange.   Source: docs/formulas.md, section «analyser».

        >>> float(EN_50379.standard_uncertainty("o2_pct", 3.8))
        0.15
        """
        return self.error_limit(channel, value) / COVERAGE


EN_50379: Final = AccuracyClass(
    name="EN 50379 kind",
    source="EN 50379-2, from MEMORY (O2, CO, temperature); the rest common practice, no source",
    channels={
        "o2_pct": (ErrorLimit(np.inf, 0.3),),
        "co2_pct": (ErrorLimit(np.inf, 0.3),),
        "co_ppm": (ErrorLimit(400.0, 20.0), ErrorLimit(2000.0, 20.0, 0.05), ErrorLimit(np.inf, 0.0, 0.10)),
        "nox_ppm": (ErrorLimit(100.0, 5.0), ErrorLimit(np.inf, 5.0, 0.05)),
        "flue_temp_c": (ErrorLimit(np.inf, 2.0, 0.01),),
        "air_temp_c": (ErrorLimit(np.inf, 1.0),),
        "air_rh_pct": (ErrorLimit(np.inf, 5.0),),
        "pressure_hpa": (ErrorLimit(np.inf, 5.0),),
        "inlet_pressure_mbar": (ErrorLimit(np.inf, 0.5, 0.01),),
    },
)


@dataclass(frozen=True)
class Corrected:
    """A reading less its known bias, and both parts of its standard uncertainty, in the channel's unit.

    Limits: a result.   Source: docs/formulas.md, section «analyser».
    """

    value: F64
    u_independent: F64
    u_shared: F64

    @property
    def u(self) -> F64:
        """Both parts together (k = 1), in the channel's unit. Limits: none. Source: GUM."""
        return np.hypot(self.u_independent, self.u_shared)


def corrected_reading(
    channel: str,
    value: ArrayLike,
    *,
    accuracy: AccuracyClass = EN_50379,
    age_days: ArrayLike = 0.0,
    bias: ArrayLike = np.nan,
    u_bias: ArrayLike = np.nan,
) -> Corrected:
    """A reading corrected by what is known of its analyser, for the measured channel it belongs to.

    channel: such as "o2_pct"; value, bias, u_bias in its unit.   age_days: days since calibration, NaN
    unknown. bias, u_bias: the analyser period's estimated bias (reading less truth) and its standard
    uncertainty; where both are known they take the place of the class's shared part.   Shapes broadcast; NaN
    value gives NaN. Limits: age_days >= 0, u_bias >= 0, a channel of the class, else OutOfRange. Source:
    docs/formulas.md, section «analyser»; split and widening are assumptions, no source.

    >>> r = corrected_reading("o2_pct", 4.0, bias=0.2, u_bias=0.03)
    >>> round(float(r.value), 2), round(float(r.u_independent), 3), round(float(r.u_shared), 3)
    (3.8, 0.06, 0.03)
    """
    reading, age, offset, u_offset = (as_float(a) for a in (value, age_days, bias, u_bias))
    refuse("age_days", age, age < 0.0, "age_days >= 0")
    refuse("u_bias", u_offset, u_offset < 0.0, "u_bias >= 0")
    whole = accuracy.standard_uncertainty(channel, reading)
    own = OWN_SHARE * whole
    years_over = np.maximum(age - CALIBRATION_DAYS, 0.0) / CALIBRATION_DAYS
    widening = np.where(np.isnan(age), WIDENING_UNKNOWN, 1.0 + WIDENING_PER_YEAR * years_over)
    known = ~np.isnan(offset) & ~np.isnan(u_offset)
    shared = np.where(known, u_offset, np.sqrt(1.0 - OWN_SHARE**2) * whole * widening)
    return Corrected(reading - np.where(known, offset, 0.0), own + 0.0 * shared, shared)


def derived_co2_u_pct(u_o2_pct: ArrayLike, setting: AnalyserSetting) -> F64:
    """Standard uncertainty of a CO2 worked out from O2 [vol %]: the O2's, by the setting's slope.

    Shapes broadcast.   Limits: none checked.   Source: GUM; slope CO2max over the air's O2.

    >>> round(float(derived_co2_u_pct(0.15, AnalyserSetting(11.8))), 3)
    0.084
    """
    return as_float(u_o2_pct) * as_float(setting.co2_max_pct) / as_float(setting.o2_air_pct)


def with_class_uncertainty(
    readings: Readings, accuracy: AccuracyClass = EN_50379, *, setting: AnalyserSetting | None = None
) -> Readings:
    """The readings with the class's standard uncertainties on every channel that has a value.

    A derived CO2 takes that of the O2 behind it, through `setting` (needed then).   Units: Readings'.
    Limits: none.   Source: docs/formulas.md, section «analyser».

    >>> float(with_class_uncertainty(Readings(o2_pct=3.8)).u_o2_pct)
    0.15
    """
    given = {f"u_{n}": getattr(readings, n) for n in MEASURED if getattr(readings, n) is not None}
    u = {name: accuracy.standard_uncertainty(name.removeprefix("u_"), v) for name, v in given.items()}
    if setting is not None and "u_co2_pct" in u:
        measured = np.asarray(readings.co2_measured, dtype=np.bool_)
        behind = derived_co2_u_pct(accuracy.standard_uncertainty("o2_pct", 0.0), setting)
        u["u_co2_pct"] = np.where(measured, u["u_co2_pct"], behind)
    return replace(readings, **u)
