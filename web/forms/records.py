"""Forms for what the office keeps: one for each kind of row, each naming the fields a person may change."""

from typing import Any, ClassVar

from django import forms
from django.core import signing
from django.db import models
from django.utils.translation import gettext_lazy as _

from common.editing import values_of
from fleet.models import (
    Analyser,
    AnalyserChannel,
    AnalyserPeriod,
    Appliance,
    ApplianceModel,
    Burner,
    Contract,
    Customer,
    GasPrice,
    Plant,
    Site,
)
from fleet.units import MEASURES
from people.models import Licence, Technician, Units
from web.forms.measured import MeasuredField

SALT = "record-seen"
MONTHS = [
    (1, _("January")),
    (2, _("February")),
    (3, _("March")),
    (4, _("April")),
    (5, _("May")),
    (6, _("June")),
    (7, _("July")),
    (8, _("August")),
    (9, _("September")),
    (10, _("October")),
    (11, _("November")),
    (12, _("December")),
]


YEARLY_GAS = ("annual_gas_kwh", "annual_gas_u_pct", "annual_gas_source")
YEARLY_GAS_LABELS = {
    "annual_gas_kwh": _("Gas in a usual year, gross heat"),
    "annual_gas_u_pct": _("Its standard uncertainty, %"),
    "annual_gas_source": _("Whose figure that is"),
}


class RecordForm(forms.ModelForm):  # type: ignore[type-arg]
    """A row as it was when the form was opened travels along, signed, so that a later change is noticed.

    `measures` names the fields that hold a quantity: they are typed in the person's `units`.
    """

    measures: ClassVar[dict[str, str]] = {}
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, units: str = Units.SI, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            if isinstance(field, forms.DateField):
                field.widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
            if name in self.measures:
                self.fields[name] = self._measured(name, field, units)
        if self.instance.pk:
            self.initial["seen"] = self.sealed()

    def _measured(self, name: str, field: forms.Field, units: str) -> MeasuredField:
        return MeasuredField(
            measure=MEASURES[self.measures[name]],
            units=units,
            stood=getattr(self.instance, name),
            label=field.label,
            required=field.required,
            help_text=field.help_text,
        )

    @property
    def row_fields(self) -> list[str]:
        """The fields that stand for columns of the row."""
        return [name for name in self.fields if name != "seen"]

    def stored_values(self) -> dict[str, str]:
        """What is stored now, as text."""
        stored = type(self.instance)._default_manager.get(pk=self.instance.pk)
        return values_of(stored, self.row_fields)

    def sealed(self) -> str:
        """What is stored now, signed."""
        return signing.dumps(self.stored_values(), salt=SALT)

    def seen_values(self) -> dict[str, str]:
        """What stood there when the form was opened; nothing where the field was tampered with."""
        try:
            seen: dict[str, str] = signing.loads(self.cleaned_data.get("seen", ""), salt=SALT)
        except signing.BadSignature:
            return {}
        return seen

    def values(self) -> dict[str, Any]:
        """Field to value, as the service takes it."""
        return {name: self.cleaned_data[name] for name in self.row_fields}

    def lists(self) -> dict[str, Any]:
        """The many-to-many fields alone."""
        meta = self.instance._meta
        return {name: value for name, value in self.values().items() if meta.get_field(name).many_to_many}


class CustomerForm(RecordForm):
    class Meta:
        model = Customer
        fields = ["name", "email", "country", "retired_on"]
        labels = {"email": _("E-mail"), "country": _("Country, for limits")}


class SiteForm(RecordForm):
    measures: ClassVar[dict[str, str]] = {
        "elevation_m": "elevation_m",
        "design_winter_air_c": "air_temp_c",
        "design_summer_air_c": "air_temp_c",
    }

    class Meta:
        model = Site
        fields = [
            "name",
            "address",
            "access_notes",
            "gas_area",
            "elevation_m",
            "latitude",
            "longitude",
            "time_zone",
            "design_winter_air_c",
            "design_summer_air_c",
            "retired_on",
        ]
        labels = {
            "elevation_m": _("Elevation"),
            "latitude": _("Latitude, °"),
            "longitude": _("Longitude, °"),
            "design_winter_air_c": _("Design air in winter"),
            "design_summer_air_c": _("Design air in summer"),
        }


class PlantForm(RecordForm):
    measures: ClassVar[dict[str, str]] = {"annual_gas_kwh": "annual_gas_kwh"}

    class Meta:
        model = Plant
        fields = ["name", "sequencing", "access_notes", *YEARLY_GAS, "retired_on"]
        labels = YEARLY_GAS_LABELS


class ApplianceForm(RecordForm):
    measures: ClassVar[dict[str, str]] = {
        "input_gross_kw": "input_gross_kw",
        "input_stated_kw": "input_gross_kw",
        "annual_gas_kwh": "annual_gas_kwh",
    }

    class Meta:
        model = Appliance
        fields = [
            "tag",
            "serial",
            "model",
            "fuel",
            "input_gross_kw",
            "input_stated_kw",
            "input_stated_basis",
            "air_source",
            *YEARLY_GAS,
            "installed_on",
            "retired_on",
        ]
        labels = {
            **YEARLY_GAS_LABELS,
            "model": _("Maker and model"),
            "input_gross_kw": _("Input, gross"),
            "input_stated_kw": _("Input on the plate"),
            "input_stated_basis": _("Basis of the plate's input"),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        chosen: forms.ModelChoiceField = self.fields["model"]  # type: ignore[type-arg, assignment]
        chosen.queryset = ApplianceModel.objects.select_related("maker").order_by("maker__name", "name")


class BurnerForm(RecordForm):
    measures: ClassVar[dict[str, str]] = {"control_pressure_pa": "control_pressure_pa"}

    class Meta:
        model = Burner
        fields = ["position", "name", "turndown", "control_pressure_pa", "fan_high_rpm", "fan_low_rpm"]
        labels = {
            "turndown": _("Turndown, : 1"),
            "control_pressure_pa": _("Air signal at high fire"),
            "fan_high_rpm": _("Fan at high fire, 1/min"),
            "fan_low_rpm": _("Fan at low fire, 1/min"),
        }
        help_texts = {
            "turndown": _("Where empty, the model's holds."),
            "fan_high_rpm": _("A changed fan limit starts a new state of the trims."),
        }


class ContractForm(RecordForm):
    avoid_months = forms.TypedMultipleChoiceField(
        label=_("Months to avoid"),
        choices=MONTHS,
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    class Meta:
        model = Contract
        fields = [
            "reference",
            "plants",
            "interval_months",
            "rule",
            "anniversary_on",
            "window_before_days",
            "window_after_days",
            "avoid_months",
            "starts_on",
            "ends_on",
        ]
        labels = {
            "interval_months": _("Interval, months"),
            "rule": _("Reckoned"),
            "window_before_days": _("Window before, days"),
            "window_after_days": _("Window after, days"),
        }
        widgets = {"plants": forms.CheckboxSelectMultiple}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        plants: forms.ModelMultipleChoiceField = self.fields["plants"]  # type: ignore[type-arg, assignment]
        rows = Plant.objects.filter(site__customer=self.instance.customer_id).select_related("site")
        plants.queryset = rows.order_by("site__name", "name")
        plants.label_from_instance = lambda plant: f"{plant.site}, {plant}"  # type: ignore[method-assign, assignment]


class GasPriceForm(RecordForm):
    class Meta:
        model = GasPrice
        fields = ["price_per_kwh", "currency", "fuel", "in_force_on", "source"]
        labels = {
            "price_per_kwh": _("Price per kWh of gross heat"),
            "currency": _("Currency, three letters"),
            "in_force_on": _("In force from"),
        }


class AnalyserForm(RecordForm):
    class Meta:
        model = Analyser
        fields = ["tag", "serial", "type_name", "fuel_setting", "settle_s", "retired_on"]
        labels = {"type_name": _("Type"), "settle_s": _("Time to settle, s")}


class ChannelForm(RecordForm):
    class Meta:
        model = AnalyserChannel
        fields = ["quantity", "source", "accuracy_abs", "accuracy_rel", "resolution", "range_high"]
        labels = {
            "source": _("Measured or derived"),
            "accuracy_abs": _("Limit of error, in the quantity's unit"),
            "accuracy_rel": _("Limit of error, share of the value"),
            "range_high": _("Upper end of the range"),
        }
        help_texts = {"accuracy_rel": _("0.05 for 5 %. The larger of the two limits holds.")}


class PeriodForm(RecordForm):
    class Meta:
        model = AnalyserPeriod
        fields = ["began", "starts_on", "calibration_due_on", "certificate"]
        labels = {"began": _("Began with"), "certificate": _("Calibration certificate's number")}


class LicenceForm(RecordForm):
    measures: ClassVar[dict[str, str]] = {"max_input_gross_kw": "input_gross_kw"}

    class Meta:
        model = Licence
        fields = ["scheme", "number", "work", "fuels", "max_input_gross_kw", "starts_on", "ends_on"]
        labels = {"max_input_gross_kw": _("Up to input, gross")}


class TechnicianForm(RecordForm):
    class Meta:
        model = Technician
        fields = ["weekly_hours", "away_from", "away_until"]
        labels = {"weekly_hours": _("Hours a week"), "away_until": _("Away until, that day included")}


def bound_to(form: RecordForm) -> models.Model:
    """The row with the typed values on it, not stored."""
    row: models.Model = form.save(commit=False)
    return row
