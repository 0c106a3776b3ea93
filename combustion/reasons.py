"""Why a quantity cannot be given, or what is odd about a row: one bit each, several may hold."""

from __future__ import annotations

from enum import IntFlag
from functools import lru_cache


class Reason(IntFlag):
    """Reasons per row of readings; the code of one is its name in lower case. No unit.

    The first that applies answers «why».   Limits: none.   Source: this package.

    >>> Reason.O2_ABOVE_AMBIENT.code
    'o2_above_ambient'
    """

    NO_O2_OR_CO2 = 1 << 0
    O2_NEGATIVE = 1 << 1
    O2_ABOVE_AMBIENT = 1 << 2
    CO2_NEGATIVE = 1 << 3
    CO2_ABOVE_MAX = 1 << 4
    FUEL_WITHOUT_CARBON = 1 << 5
    INCONSISTENT_O2_CO2 = 1 << 6
    CO_OUT_OF_RANGE = 1 << 7
    RICH = 1 << 8
    NO_FLUE_TEMP = 1 << 9
    FLUE_TEMP_OUT_OF_RANGE = 1 << 10
    NO_AIR_TEMP = 1 << 11
    AIR_TEMP_OUT_OF_RANGE = 1 << 12
    AIR_RH_OUT_OF_RANGE = 1 << 13
    PRESSURE_OUT_OF_RANGE = 1 << 14
    NO_NOX = 1 << 15
    NOX_OUT_OF_RANGE = 1 << 16
    ONE_MEASURED_CHANNEL = 1 << 17
    NO_PUBLISHED_CONSTANTS = 1 << 18
    O2_ABOVE_EPA_AMBIENT = 1 << 19
    FLUE_COLDER_THAN_AIR = 1 << 20  # blocks nothing

    @property
    def code(self) -> str:
        """The stable word for one reason; no unit. Limits: a single reason. Source: this package."""
        return str(self.name).lower()


@lru_cache(maxsize=4096)  # few sets of reasons ever occur, on many rows each
def codes_of(noted: int) -> tuple[str, ...]:
    """The codes of all reasons in a row's bits, in order; no unit. Limits: none. Source: this package.

    >>> codes_of(Reason.RICH | Reason.NO_NOX)
    ('rich', 'no_nox')
    """
    return tuple(reason.code for reason in Reason if reason in Reason(noted))


AIR_RATIO = (
    Reason.NO_O2_OR_CO2
    | Reason.O2_NEGATIVE
    | Reason.O2_ABOVE_AMBIENT
    | Reason.CO2_NEGATIVE
    | Reason.CO2_ABOVE_MAX
    | Reason.FUEL_WITHOUT_CARBON
    | Reason.INCONSISTENT_O2_CO2
    | Reason.CO_OUT_OF_RANGE
)
PRODUCTS = AIR_RATIO | Reason.RICH
AIR_TEMP = Reason.NO_AIR_TEMP | Reason.AIR_TEMP_OUT_OF_RANGE
FLUE_TEMP = Reason.NO_FLUE_TEMP | Reason.FLUE_TEMP_OUT_OF_RANGE
WATER = PRODUCTS | AIR_TEMP | Reason.AIR_RH_OUT_OF_RANGE | Reason.PRESSURE_OUT_OF_RANGE
HEAT = WATER | FLUE_TEMP
NOX = Reason.NO_NOX | Reason.NOX_OUT_OF_RANGE
METHOD19 = AIR_RATIO | Reason.O2_ABOVE_EPA_AMBIENT
TWO_CHANNELS = AIR_RATIO | Reason.ONE_MEASURED_CHANNEL
