"""The form of the flue-gas page: a person's units on one side, what the science is asked on the other.

It travels in the address, with the units it was filled in, so that a link says the same to everyone.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from combustion.altitude import DERATING_RULES
from common.constraints import MEASURED_LIMIT
from common.problems import Problem
from fleet.computing.inputs import FlueGasIn, GasRateIn, checked
from fleet.models import ApplianceModel, FuelSlug, Point
from fleet.units import MEASURES
from people.models import Units

READINGS = ("o2_pct", "co2_pct", "co_ppm", "nox_ppm", "flue_temp_c", "air_temp_c")
SURROUNDINGS = ("air_rh_pct", "pressure_hpa", "elevation_m")
ACCURACY = ("o2_pct", "co2_pct", "co_ppm", "nox_ppm", "flue_temp_c", "air_temp_c")
CHANGE = ("return_temp_change_k", "input_gross_kw", "full_load_hours", "price_per_kwh_gross")
METER = ("volume_m3", "seconds", "meter_temp_c", "meter_gauge_mbar", "gross_mj_m3", "nameplate_kw")
DIFFERENCES = frozenset({"return_temp_change_k"})
"""Scaled between systems of units, never shifted; so are limits of error."""


class FlueGasForm(forms.Form):
    """Readings, and what else one may ask about them. Every field but the fuel may stay empty."""

    fuel = forms.ChoiceField(label=_("Fuel"), choices=FuelSlug.choices)
    co2_source = forms.ChoiceField(
        label=_("CO2 was"),
        choices=[("derived", _("worked out")), ("measured", _("measured"))],
        required=False,
    )
    model = forms.ModelChoiceField(
        ApplianceModel.objects.select_related("maker"),
        label=_("Against the band of"),
        required=False,
        empty_label=_("no model"),
    )
    point = forms.ChoiceField(
        label=_("Firing point"), choices=[(p.value, p.label) for p in (Point.HIGH, Point.LOW)], required=False
    )
    nameplate_basis = forms.ChoiceField(
        label=_("Nameplate is"), choices=[("gross", _("gross")), ("net", _("net"))], required=False
    )
    derating_rule = forms.ChoiceField(
        label=_("Derating for height"),
        choices=[("", _("none, or the maker's own")), *((name, name) for name in DERATING_RULES)],
        required=False,
    )
    units = forms.ChoiceField(choices=Units.choices, required=False, widget=forms.HiddenInput)

    def __init__(self, data: QueryDict | None, *, units: str) -> None:
        self.shown_in = units
        super().__init__(data, initial={"fuel": FuelSlug.NATURAL_GAS, "units": units})
        for name in (*READINGS, *SURROUNDINGS, *CHANGE, *METER):
            self.fields[name] = _number(name, units)
        self.fields["then_excess_air_pct"] = _number("excess_air_pct", units, label=_("Excess air then"))
        for name in ACCURACY:
            self.fields[f"accuracy_{name}"] = _number(name, units, spread=True)

    @classmethod
    def read(cls, query: QueryDict, units: str) -> "FlueGasForm":
        """The form as the address fills it, in the units that the address names."""
        named = query.get("units", "")
        asked = any(query.get(name) for name in ("fuel", *READINGS, *METER))
        return cls(query if asked else None, units=named if named in Units.values else units)

    def group(self, *names: str) -> list[forms.BoundField]:
        """These fields in this order."""
        return [self[name] for name in names]

    @property
    def readings(self) -> list[forms.BoundField]:
        """What the analyser and thermometers say."""
        return self.group("fuel", *READINGS[:2], "co2_source", *READINGS[2:])

    @property
    def band(self) -> list[forms.BoundField]:
        """Whose band is drawn."""
        return self.group("model", "point")

    @property
    def surroundings(self) -> list[forms.BoundField]:
        """Air and height."""
        return self.group(*SURROUNDINGS)

    @property
    def accuracy(self) -> list[forms.BoundField]:
        """The analyser's limits of error."""
        return self.group(*(f"accuracy_{name}" for name in ACCURACY))

    @property
    def change(self) -> list[forms.BoundField]:
        """What if."""
        return self.group(CHANGE[0], "then_excess_air_pct", *CHANGE[1:])

    @property
    def meter(self) -> list[forms.BoundField]:
        """The gas meter."""
        return self.group(*METER, "nameplate_basis", "derating_rule")

    def filled(self, names: Sequence[str]) -> bool:
        """Something stands in one of these fields."""
        return any(self[name].value() not in (None, "") for name in names)

    @property
    def change_open(self) -> bool:
        """The what-if fields are in use."""
        return self.filled([*CHANGE, "then_excess_air_pct"])

    @property
    def meter_open(self) -> bool:
        """The meter's fields are in use."""
        return self.filled(METER)

    @property
    def more_open(self) -> bool:
        """Surroundings or accuracy are in use."""
        return self.filled([*SURROUNDINGS, *(f"accuracy_{name}" for name in ACCURACY)])

    def flue_gas(self) -> FlueGasIn | None:
        """What is asked of the readings; None where neither O2 nor CO2 was entered."""
        if self._si("o2_pct") is None and self._si("co2_pct") is None:
            return None
        given = self._given((*READINGS, *SURROUNDINGS))
        accuracy = {name: self._si(f"accuracy_{name}", name, spread=True) for name in ACCURACY}
        given |= {
            "fuel": self.cleaned_data["fuel"],
            "co2_source": self.cleaned_data["co2_source"] or "derived",
            "accuracy": {name: value for name, value in accuracy.items() if value is not None},
        }
        change = self._given(CHANGE)
        then = self._si("then_excess_air_pct", "excess_air_pct")
        if then is not None:
            change["excess_air_pct"] = then
        if change.keys() & {"return_temp_change_k", "excess_air_pct"}:
            given["what_if"] = change
        return checked(FlueGasIn, given)

    def gas_rate(self) -> GasRateIn | None:
        """What is asked of the meter; None where it was not clocked."""
        if self._si("volume_m3") is None or self._si("seconds") is None:
            return None
        given = self._given((*METER, "pressure_hpa", "elevation_m"))
        given |= {
            "fuel": self.cleaned_data["fuel"],
            "nameplate_basis": self.cleaned_data["nameplate_basis"] or "gross",
            "derating_rule": self.cleaned_data["derating_rule"] or None,
        }
        return checked(GasRateIn, given)

    def add_problem(self, problem: Problem) -> None:
        """Show what was refused beside its field, or on top where no field is its own."""
        for row in problem.errors:
            name = self._field_of(row["field"])
            text = _("%(detail)s (in SI units)") % {"detail": row["detail"]}
            self.add_error(name, text)

    def _field_of(self, pointer: str) -> str | None:
        *under, name = pointer.strip("/").split("/")
        if under == ["accuracy"]:
            name = f"accuracy_{name}"
        if under == ["what_if"] and name == "excess_air_pct":
            name = "then_excess_air_pct"
        return name if name in self.fields else None

    def _given(self, names: Sequence[str]) -> dict[str, Any]:
        return {name: value for name in names if (value := self._si(name)) is not None}

    def _si(self, field: str, measure: str = "", *, spread: bool = False) -> float | None:
        value = self.cleaned_data.get(field)
        if value is None:
            return None
        known = MEASURES[measure or field]
        if spread or field in DIFFERENCES:
            return float(known.stored(value, self.shown_in) - known.stored(0.0, self.shown_in))
        return float(known.stored(value, self.shown_in))

    def refusals(self) -> Iterator[tuple[str, str, str]]:
        """Where, what and the element's id, for the summary on top."""
        for error in self.non_field_errors():
            yield "", str(error), ""
        for field in self:
            for error in field.errors:
                yield str(field.label), str(error), str(field.id_for_label)


def _number(
    name: str, units: str, *, label: str | Promise | None = None, spread: bool = False
) -> forms.FloatField:
    measure = MEASURES[name]
    unit = measure.unit(units)
    text = f"{label or measure.label}, {unit}" if unit else str(label or measure.label)
    return forms.FloatField(
        label=f"± {text}" if spread else text,
        required=False,
        min_value=0.0 if spread else -MEASURED_LIMIT,
        max_value=MEASURED_LIMIT,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "numeric", "autocomplete": "off"}),
    )
