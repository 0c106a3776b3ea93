"""How a person reads a trim's state and its changes: in % of K, a pressure, or parts of the air signal."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from analytics.models import Unit
from fleet.units import MEASURES, two_digits
from people.models import Units

_OFFSET = MEASURES["offset_pa"]


@dataclass(frozen=True)
class TrimScale:
    """unit, words: as in a table and in a sentence.   factor: what a stored value is multiplied by.

    more: decimals beyond those that suit a value in % or in Pa.
    """

    unit: str
    words: str | Promise
    factor: float = 1.0
    more: int = 0

    def text(self, stored: float, decimals: int, *, signed: bool = False) -> str:
        """A stored value as it stands in a table, without its unit; a true minus sign."""
        sign = "+" if signed else ""
        return f"{stored * self.factor:{sign}.{decimals + self.more}f}".replace("-", "−")

    def rough(self, stored: float, *, signed: bool = False) -> str:
        """A stored value with the two digits that it is good for, without its unit; a true minus sign."""
        return two_digits(stored * self.factor, signed=signed)


_US_OFFSET = TrimScale(
    _OFFSET.unit(Units.US), _OFFSET.unit(Units.US), _OFFSET.factor, _OFFSET.us_decimals - _OFFSET.decimals
)
_SCALES = {
    Unit.PCT_OF_K.value: TrimScale("%", "%"),
    Unit.PASCAL.value: TrimScale(_OFFSET.si, _OFFSET.si),
    Unit.MILLI_W.value: TrimScale("1e-3 w", _("thousandths of the air signal")),
}


def trim_scale(unit: str, units: str = Units.SI) -> TrimScale:
    """For a state stored in `unit` (a value of `Unit`), and a reader of a system of units."""
    return _US_OFFSET if unit == Unit.PASCAL and units == Units.US else _SCALES[unit]
