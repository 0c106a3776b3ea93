"""Numbers with uncertainty, propagated to first order by the GUM: arithmetic with sensitivities.

A Quantity holds a value and, per input, the change in it that one standard uncertainty of that input makes.
Sums, products and quotients combine these by the rules of differentiation, so a formula is written once,
correlations through shared inputs are exact to first order, and an input known exactly costs nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from combustion.arrays import F64, Bool

Plain = F64 | float


class Quantity:
    """A value with its first-order sensitivities.

    value: array or number, any unit.   parts: per input, derivative times that input's standard uncertainty,
    in the value's unit. Inputs are independent of each other.   Limits: none checked; NaN passes through.
    Source: JCGM 100:2008 (GUM), equation 10.

    >>> side = Quantity.measured("side", 3.0, 0.1)
    >>> area = side * side
    >>> float(area.value), round(float(area.u), 6)
    (9.0, 0.6)
    """

    __array_ufunc__ = None  # so that array * Quantity comes here and not to NumPy's own loop
    __slots__ = ("parts", "value")

    def __init__(self, value: Plain, parts: Mapping[str, Plain] | None = None) -> None:
        self.value = value
        self.parts: Mapping[str, Plain] = parts if parts is not None else {}

    @classmethod
    def measured(cls, name: str, value: Plain, u: Plain) -> Quantity:
        """An input with its standard uncertainty (k = 1), one unit. Limits: u >= 0. Source: GUM."""
        return cls(value, {name: u} if np.any(u) else None)

    @property
    def u(self) -> F64:
        """Standard uncertainty (k = 1), in the value's unit. Limits: none. Source: GUM, equation 10."""
        result = np.zeros(np.broadcast_shapes(np.shape(self.value), *map(np.shape, self.parts.values())))
        self.u_into(result)
        return result

    def u_into(self, result: F64) -> None:
        """Write the standard uncertainty into an array, same unit. Limits: the value's shape. Source: GUM."""
        parts = list(self.parts.values())
        if not parts:
            result.fill(0.0)
            return
        np.multiply(parts[0], parts[0], out=result)
        for part in parts[1:]:
            result += part * part
        np.sqrt(result, out=result)

    def through(self, value: Plain, slope: Plain) -> Quantity:
        """A function of this one, from its value and slope in its unit. Limits: none. Source: chain rule."""
        return Quantity(value, {name: slope * part for name, part in self.parts.items()})

    def at_least_zero(self) -> Quantity:
        """This one, or 0 where negative, same unit. Limits: first order fails near 0. Source: definition."""
        held = np.maximum(self.value, 0.0)
        return self.through(held, np.sign(held))

    def __add__(self, other: Quantity | Plain) -> Quantity:
        if not isinstance(other, Quantity):
            return Quantity(self.value + other, self.parts)
        parts = dict(self.parts)
        for name, part in other.parts.items():
            parts[name] = parts[name] + part if name in parts else part
        return Quantity(self.value + other.value, parts)

    def __sub__(self, other: Quantity | Plain) -> Quantity:
        if not isinstance(other, Quantity):
            return Quantity(self.value - other, self.parts)
        parts = dict(self.parts)
        for name, part in other.parts.items():
            parts[name] = parts[name] - part if name in parts else -part
        return Quantity(self.value - other.value, parts)

    def __mul__(self, other: Quantity | Plain) -> Quantity:
        if not isinstance(other, Quantity):
            return self.through(self.value * other, other)
        parts = {name: part * other.value for name, part in self.parts.items()}
        for name, part in other.parts.items():
            own = part * self.value
            parts[name] = parts[name] + own if name in parts else own
        return Quantity(self.value * other.value, parts)

    def __truediv__(self, other: Quantity | Plain) -> Quantity:
        if not isinstance(other, Quantity):
            return self * (1.0 / other)
        inverse = 1.0 / other.value
        return self * other.through(inverse, -inverse * inverse)

    def __radd__(self, other: Plain) -> Quantity:
        return self + other

    def __rsub__(self, other: Plain) -> Quantity:
        return self * -1.0 + other

    def __rmul__(self, other: Plain) -> Quantity:
        return self * other

    def __rtruediv__(self, other: Plain) -> Quantity:
        inverse = 1.0 / self.value
        scaled = other * inverse
        return self.through(scaled, -scaled * inverse)


def choose(condition: Bool, first: Quantity, second: Quantity) -> Quantity:
    """Row by row the first where the condition holds, else the second; both in one unit.

    Limits: none checked; the three broadcast.   Source: definition.

    >>> both = choose(np.array([True, False]), Quantity(1.0), Quantity(2.0))
    >>> both.value.tolist()
    [1.0, 2.0]
    """
    names = dict.fromkeys((*first.parts, *second.parts))
    parts = {n: np.where(condition, first.parts.get(n, 0.0), second.parts.get(n, 0.0)) for n in names}
    return Quantity(np.where(condition, first.value, second.value), parts)
