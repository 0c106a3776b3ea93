"""What the site's height does: air pressure, and how much input a rule leaves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float, refuse
from combustion.errors import OutOfRange

_FOOT_M: Final = 0.3048
_LOWEST_M: Final = -500.0
_HIGHEST_M: Final = 5000.0


def pressure_hpa_at(elevation_m: ArrayLike) -> F64:
    """Air pressure of the standard atmosphere [hPa] at a height above sea level [m].

    Any shape; NaN gives NaN. The weather moves it by about 10 hPa (standard uncertainty, common practice, no
    source).   Limits: -500 <= elevation_m <= 5000, else OutOfRange.   Source: ISO 2533:1975 (geopotential
    height taken as height: 1 hPa at 5000 m).

    >>> round(float(pressure_hpa_at(1524.0)), 2)
    843.07
    """
    height = _checked(elevation_m)
    return np.asarray(1013.25 * (1.0 - 2.25577e-5 * height) ** 5.25588)


def elevation_m_of(pressure_hpa: ArrayLike) -> F64:
    """Height [m] at which the standard atmosphere has that pressure [hPa].

    Any shape; NaN gives NaN.   Limits: 540 <= pressure_hpa <= 1075, else OutOfRange.   Source: ISO 2533:1975.

    >>> round(float(elevation_m_of(900.0)))
    988
    """
    pressure = as_float(pressure_hpa)
    limit = "540 <= pressure_hpa <= 1075"
    refuse("pressure_hpa", pressure, (pressure < 540.0) | (pressure > 1075.0), limit)
    return np.asarray((1.0 - (pressure / 1013.25) ** (1.0 / 5.25588)) / 2.25577e-5)


@dataclass(frozen=True)
class DeratingRule:
    """A published rule for the input at height [m]. Limits: up to highest_m. Source: in `source`.

    from_m: below it nothing is taken off.   per_m: share taken off per metre above sea level.   flat: share
    taken off as a whole.
    """

    source: str
    from_m: float
    per_m: float
    flat: float
    highest_m: float


DERATING_RULES: Final[Mapping[str, DeratingRule]] = {
    "nfpa54": DeratingRule(
        "NFPA 54, 4 % per 1000 ft above sea level from 2000 ft on (read as quoted in an appliance manual)",
        from_m=2000 * _FOOT_M,
        per_m=0.04 / (1000 * _FOOT_M),
        flat=0.0,
        highest_m=10000 * _FOOT_M,
    ),
    "canada": DeratingRule(
        "Canadian practice, 10 % from 2000 to 4500 ft (read as quoted in an appliance manual)",
        from_m=2000 * _FOOT_M,
        per_m=0.0,
        flat=0.10,
        highest_m=4500 * _FOOT_M,
    ),
}


def input_share_at(elevation_m: ArrayLike, rule: str = "nfpa54") -> F64:
    """Share of sea-level input [-] that a named rule leaves at a height [m]; the maker's figure first.

    Any shape; NaN gives NaN.   Limits: a rule of DERATING_RULES, up to its highest height, else OutOfRange.
    Source: the rule's `source`. Some manuals free the first 2000 ft; NFPA's wording counts from sea level.

    >>> round(float(input_share_at(4000 * 0.3048)), 3)
    0.84
    """
    if rule not in DERATING_RULES:
        raise OutOfRange("rule", rule, "one of " + ", ".join(DERATING_RULES), code="unknown_rule")
    known = DERATING_RULES[rule]
    height = _checked(elevation_m)
    limit = f"elevation_m <= {known.highest_m:.0f} for {rule}; above it ask the authority and the maker"
    refuse("elevation_m", height, height > known.highest_m, limit)
    taken_off = np.where(height > known.from_m, known.flat + known.per_m * height, 0.0)
    return np.where(np.isnan(height), np.nan, 1.0 - taken_off)


def _checked(elevation_m: ArrayLike) -> F64:
    height = as_float(elevation_m)
    outside = (height < _LOWEST_M) | (height > _HIGHEST_M)
    refuse("elevation_m", height, outside, f"{_LOWEST_M:g} <= elevation_m <= {_HIGHEST_M:g}")
    return height
