"""Numbers with a unit, typed and shown in the person's own units and stored in SI."""

from typing import Any

from django import forms

from fleet.units import Measure


def shown(value: float) -> float:
    """A stored value as the form shows it: no noise of conversion, no point in a whole number."""
    plain = float(f"{value:.6g}")
    return int(plain) if plain.is_integer() else plain


def stored_of(entered: float, measure: Measure, units: str, stood: float | None) -> float:
    """What was typed, in SI; what stands there and was not touched stays exactly as it was."""
    if stood is not None and entered == shown(measure.value(stood, units)):
        return stood
    return measure.stored(entered, units)


class MeasuredField(forms.FloatField):
    """A stored SI number; what stands there in the person's units and is not touched stays as it was."""

    def __init__(self, *, measure: Measure, units: str, stood: float | None, **kwargs: Any) -> None:
        unit = measure.unit(units)
        label = kwargs.pop("label")
        super().__init__(label=f"{label}, {unit}" if unit else label, **kwargs)
        self.measure, self.units, self.stood = measure, units, stood

    def prepare_value(self, value: Any) -> Any:
        """The stored number in the person's units; text that was typed stays as typed."""
        return shown(self.measure.value(value, self.units)) if isinstance(value, int | float) else value

    def to_python(self, value: Any) -> Any:
        """What was typed, in SI; None where nothing was."""
        entered = super().to_python(value)
        return None if entered is None else stored_of(entered, self.measure, self.units, self.stood)
