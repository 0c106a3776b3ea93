"""SI and US customary units, for screens and for reading American sources; the stored value never changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float
from combustion.errors import OutOfRange

_BTU_J: Final = 1055.05585262
_FOOT_M: Final = 0.3048
_POUND_KG: Final = 0.45359237
_US_GALLON_M3: Final = 231 * 0.0254**3


@dataclass(frozen=True)
class Customary:
    """The US customary unit of an SI one: value = factor x SI + offset. Limits: none. Source: NIST SP 811.

    The factors follow from exact definitions (foot, pound, international table Btu); inches of water at 4 °C.
    """

    symbol: str
    factor: float
    offset: float = 0.0


CUSTOMARY: Final[Mapping[str, Customary]] = {
    "c": Customary("°F", 1.8, 32.0),
    "k": Customary("°F", 1.8),  # a temperature difference
    "m": Customary("ft", 1.0 / _FOOT_M),
    "mm": Customary("in", 1.0 / 25.4),
    "m3": Customary("ft³", _FOOT_M**-3),
    "m3_h": Customary("ft³/h", _FOOT_M**-3),
    "l_min": Customary("gal/min", 1e-3 / _US_GALLON_M3),
    "kg": Customary("lb", 1.0 / _POUND_KG),
    "mbar": Customary("inWC", 100.0 / 249.082),
    "hpa": Customary("inHg", 100.0 / 3386.389),
    "kw": Customary("Btu/h", 3.6e6 / _BTU_J),
    "kwh": Customary("therm", 3.6e6 / (1e5 * _BTU_J)),
    "mj_m3": Customary("Btu/ft³", 1e6 / _BTU_J * _FOOT_M**3),
    "mj_kg": Customary("Btu/lb", 1e6 / _BTU_J * _POUND_KG),
    "ng_j": Customary("lb/MMBtu", 1e-12 / _POUND_KG * _BTU_J * 1e6),
    "kg_m3": Customary("lb/ft³", _FOOT_M**3 / _POUND_KG),
}


def to_us(value: ArrayLike, unit: str) -> F64:
    """A value in the SI unit of a name's ending (such as "c", "mbar", "kw") in its US customary unit.

    Any shape.   Limits: a unit of CUSTOMARY, else OutOfRange.   Source: NIST SP 811.

    >>> float(to_us(60.0, "c"))
    140.0
    """
    customary = _customary(unit)
    return as_float(value) * customary.factor + customary.offset


def from_us(value: ArrayLike, unit: str) -> F64:
    """A value in US customary units back in the SI unit of a name's ending.

    Any shape.   Limits: a unit of CUSTOMARY, else OutOfRange.   Source: NIST SP 811.

    >>> round(float(from_us(1.0, "ng_j")), 2)
    429.92
    """
    customary = _customary(unit)
    return (as_float(value) - customary.offset) / customary.factor


def _customary(unit: str) -> Customary:
    if unit not in CUSTOMARY:
        raise OutOfRange("unit", unit, "one of " + ", ".join(CUSTOMARY), code="unknown_unit")
    return CUSTOMARY[unit]
