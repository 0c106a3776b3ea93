"""The forms that a visit's sheet is made of, one for each kind of row."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from common.constraints import MEASURED_LIMIT
from fleet.models import Analyser, ServiceItem, TrimKind
from fleet.units import BY_UNIT, MEASURES, Measure
from visits.models import Kind, Outcome, VisitItem
from web.forms.measured import shown

FIRST = ("co2_pct", "o2_pct", "co_ppm", "flue_temp_c", "air_temp_c", "inlet_pressure_mbar")
MORE = ("flow_temp_c", "return_temp_c", "gas_rate_m3_h", "fan_rpm", "flame_signal_ua")
AFTER_A_MOVE = ("co2_pct", "o2_pct", "co_ppm")
CHOSEN = "choice:"

_STATES = [
    ("", gettext_lazy("open")),
    *((state.value, state.label) for state in VisitItem.State),
]


def number_field(
    label: str, *, low: float = -MEASURED_LIMIT, high: float = MEASURED_LIMIT
) -> forms.FloatField:
    """A measured number: a numeric keypad on a phone, and no spinner to hit by mistake."""
    return forms.FloatField(
        label=label,
        required=False,
        min_value=low,
        max_value=high,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "numeric", "autocomplete": "off"}),
    )


def text_field(label: Any, most: int, **more: Any) -> forms.CharField:
    """A short text that may stay empty."""
    return forms.CharField(label=label, max_length=most, required=False, **more)


class HeadForm(forms.Form):
    """What the visit is, and with which analyser."""

    kind = forms.ChoiceField(label=gettext_lazy("Kind of visit"), choices=Kind.choices)
    analyser = forms.ModelChoiceField(
        Analyser.objects.filter(retired_on__isnull=True),
        label=gettext_lazy("Analyser"),
        required=False,
        empty_label=gettext_lazy("another, or none"),
    )
    analyser_text = text_field(gettext_lazy("Another analyser"), 120)


class ItemForm(forms.Form):
    """One item of the list: a tick, a number or a choice; or not done, or not applicable, with the reason."""

    reason = text_field(gettext_lazy("Why not, or a note"), 400)

    def __init__(self, *args: Any, item: dict[str, Any], units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.item, self.units = item, units
        self.measure: Measure | None = BY_UNIT.get(item["unit"])
        kind = item["answer"]
        if kind == ServiceItem.Answer.NUMBER:
            self.fields["number"] = number_field(item["text"])
            states = [("", _("the number stands")), *_STATES[2:]]
            self.fields["state"] = forms.ChoiceField(label=_("No number"), choices=states, required=False)
        elif kind == ServiceItem.Answer.CHOICE:
            choices = [(f"{CHOSEN}{row['code']}", row["text"]) for row in item["choices"]]
            states = [("", _("open")), *choices, *_STATES[2:]]
            self.fields["state"] = forms.ChoiceField(label=item["text"], choices=states, required=False)
        else:
            self.fields["state"] = forms.ChoiceField(
                label=item["text"], choices=_STATES, required=False, widget=forms.RadioSelect
            )
        self.order_fields(["number", "state", "reason"])

    @property
    def unit(self) -> str:
        """The unit in which the number is typed."""
        return self.measure.unit(self.units) if self.measure else str(self.item["unit"])

    @property
    def limits_text(self) -> str:
        """The item's limits in the person's units, empty where it has none."""
        low, high = (self._shown(self.item[name]) for name in ("low", "high"))
        if low and high:
            return f"{low} – {high} {self.unit}"
        if low:
            return _("at least %(limit)s") % {"limit": f"{low} {self.unit}"}
        return _("at most %(limit)s") % {"limit": f"{high} {self.unit}"} if high else ""

    def _shown(self, value: float | None) -> str:
        if value is None:
            return ""
        return f"{shown(self.measure.value(value, self.units) if self.measure else value):g}"

    @property
    def answered(self) -> bool:
        """Something is chosen or typed, now or in the stored visit."""
        return any(
            self[name].value() not in (None, "") for name in ("state", "number") if name in self.fields
        )

    def clean(self) -> dict[str, Any]:
        """What was not done, or does not apply, needs its reason."""
        cleaned = super().clean() or self.cleaned_data
        why = {
            VisitItem.State.NOT_DONE: _("Say why it was not done."),
            VisitItem.State.NOT_APPLICABLE: _("Say why it does not apply."),
        }
        if not cleaned.get("reason") and cleaned.get("state") in why:
            self.add_error("reason", why[VisitItem.State(cleaned["state"])])
        if cleaned.get("number") is not None and cleaned.get("state"):
            self.add_error("state", _("There is a number: empty it, or leave this open."))
        return cleaned


class FiringForm(forms.Form):
    """One firing point in one phase."""

    settled = forms.BooleanField(label=gettext_lazy("Settled before reading"), required=False)

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in (*FIRST, *MORE):
            self.fields[name] = measured_field(name, units)
        self.order_fields([*FIRST, "settled", *MORE])

    @property
    def first(self) -> list[forms.BoundField]:
        """What is read at every test."""
        return [self[name] for name in (*FIRST, "settled")]

    @property
    def more(self) -> list[forms.BoundField]:
        """What is read at some."""
        return [self[name] for name in MORE]

    @property
    def more_open(self) -> bool:
        """Something stands, or is refused, among those."""
        return any(field.value() not in (None, "") or field.errors for field in self.more)


class MoveForm(forms.Form):
    """One move of a trim, and the settled reading after it."""

    burner = forms.TypedChoiceField(
        label=gettext_lazy("Burner"), coerce=int, empty_value=None, required=False
    )
    trim = forms.ChoiceField(
        label=gettext_lazy("Trim"), choices=[("", "–"), *TrimKind.choices], required=False
    )
    direction = forms.ChoiceField(
        label=gettext_lazy("Which way, as seen"),
        choices=[
            ("", "–"),
            ("clockwise", gettext_lazy("clockwise ↻")),
            ("anticlockwise", gettext_lazy("anticlockwise ↺")),
        ],
        required=False,
    )
    unit = forms.ChoiceField(
        label=gettext_lazy("Counted in"),
        choices=[("turns", gettext_lazy("turns")), ("marks", gettext_lazy("marks"))],
        required=False,
    )
    moved_at = forms.DateTimeField(required=False, widget=forms.HiddenInput)
    settled = forms.BooleanField(label=gettext_lazy("Settled before reading"), required=False)

    def __init__(self, *args: Any, units: str, burners: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["amount"] = number_field(_("How far"), low=0, high=100)
        for name in AFTER_A_MOVE:
            self.fields[name] = measured_field(name, units)
        if len(burners) > 1:
            self.fields["burner"].choices = burners  # type: ignore[attr-defined]
        else:
            del self.fields["burner"]
        order = ["burner", "trim", "direction", "amount", "unit", "moved_at", *AFTER_A_MOVE, "settled"]
        self.order_fields(order)

    @property
    def move(self) -> list[forms.BoundField]:
        """The move itself."""
        names = ("burner", "trim", "direction", "amount", "unit")
        return [self[name] for name in names if name in self.fields]

    @property
    def after(self) -> list[forms.BoundField]:
        """The reading after it."""
        return [self[name] for name in (*AFTER_A_MOVE, "settled")]

    def clean(self) -> dict[str, Any]:
        """A direction, an amount or a reading belongs to a trim."""
        cleaned = super().clean() or self.cleaned_data
        typed = cleaned.get("direction") or any(
            cleaned.get(name) is not None for name in ("amount", *AFTER_A_MOVE)
        )
        if not cleaned.get("trim") and typed:
            self.add_error("trim", _("Say which trim was moved."))
        return cleaned


class ChangeForm(forms.Form):
    """One setting changed only for the test; `changed` confirms a suggested one."""

    changed = forms.BooleanField(label=gettext_lazy("Changed for this test"), required=False)
    what = text_field(gettext_lazy("Setting"), 120)
    was = text_field(gettext_lazy("Was"), 120)
    set_to = text_field(gettext_lazy("Set to"), 120)
    put_back = forms.BooleanField(label=gettext_lazy("Put back"), required=False)
    reason = text_field(gettext_lazy("If not put back, why"), 400)

    def __init__(self, *args: Any, suggested: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.suggested = suggested
        if suggested:
            self.fields["what"].widget = forms.HiddenInput()
            self.fields["changed"].widget.attrs["data-back"] = f"back-{self.prefix}"
        else:
            del self.fields["changed"]

    @property
    def stands(self) -> bool:
        """The row is one: a suggestion that is confirmed, or a setting that is named."""
        cleaned = self.cleaned_data
        if not self.suggested:
            return bool(cleaned["what"])
        return bool(cleaned["changed"] or cleaned["put_back"] or cleaned["reason"])

    @property
    def named(self) -> str:
        """What it is called where it is put back; empty for a row that is none yet."""
        if self.suggested and not (self["changed"].value() or self["put_back"].value()):
            return ""
        return str(self["what"].value() or "")

    @property
    def at_start(self) -> list[forms.BoundField]:
        """What is noted when it is changed."""
        names = ("changed", "what", "was", "set_to")
        return [self[name] for name in names if name in self.fields and not self[name].is_hidden]

    @property
    def at_end(self) -> list[forms.BoundField]:
        """What is noted when it is put back."""
        return [self["put_back"], self["reason"]]

    def clean(self) -> dict[str, Any]:
        """A value belongs to a setting."""
        cleaned = super().clean() or self.cleaned_data
        if not cleaned.get("what") and any(cleaned.get(name) for name in ("was", "set_to", "put_back")):
            self.add_error("what", _("Say which setting was changed."))
        return cleaned

    def left_changed(self) -> bool:
        """It stands, is not put back, and nobody says why."""
        return self.stands and not self.cleaned_data["put_back"] and not self.cleaned_data["reason"]


class SettingForm(forms.Form):
    """A setting of one unit of the plant, before and after."""

    unit = text_field(gettext_lazy("Unit"), 120, widget=forms.TextInput(attrs={"list": "units-of-plant"}))
    setting = text_field(gettext_lazy("Setting"), 120)
    before = text_field(gettext_lazy("Before"), 120)
    after = text_field(gettext_lazy("After"), 120)
    reason = text_field(gettext_lazy("If it differs, why"), 400)

    @property
    def stands(self) -> bool:
        """The row is one."""
        return bool(self.cleaned_data["unit"] and self.cleaned_data["setting"])

    @property
    def named(self) -> str:
        """What it is called where it is compared; empty for a spare row."""
        return ": ".join(str(self[name].value()) for name in ("unit", "setting") if self[name].value())

    @property
    def at_start(self) -> list[forms.BoundField]:
        """What is noted on arrival."""
        return [self["unit"], self["setting"], self["before"]]

    @property
    def at_end(self) -> list[forms.BoundField]:
        """What is noted before leaving."""
        return [self["after"], self["reason"]]

    def clean(self) -> dict[str, Any]:
        """A value belongs to a unit's setting."""
        cleaned = super().clean() or self.cleaned_data
        if any(cleaned.get(name) for name in ("unit", "setting", "before", "after", "reason")):
            for name, said in (("unit", _("Say which unit.")), ("setting", _("Say which setting."))):
                if not cleaned.get(name):
                    self.add_error(name, said)
        return cleaned

    def left_changed(self) -> bool:
        """It differs after the visit and nobody says why."""
        row = self.cleaned_data
        read_twice = bool(row["before"] and row["after"])
        return read_twice and row["before"] != row["after"] and not row["reason"]


class PartForm(forms.Form):
    """A part fitted."""

    part = text_field(gettext_lazy("Part fitted"), 80)
    burner = forms.TypedChoiceField(
        label=gettext_lazy("Burner"), coerce=int, empty_value=None, required=False
    )

    def __init__(self, *args: Any, burners: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if len(burners) > 1:
            self.fields["burner"].choices = burners  # type: ignore[attr-defined]
        else:
            del self.fields["burner"]


class EndForm(forms.Form):
    """Notes, and how the visit ended."""

    notes = forms.CharField(
        label=gettext_lazy("Notes"), widget=forms.Textarea, required=False, max_length=20_000
    )
    outcome = forms.ChoiceField(
        label=gettext_lazy("Close the visit as"),
        choices=[("", gettext_lazy("keep it open")), *Outcome.choices],
        required=False,
        help_text=gettext_lazy("A closed visit is never edited; a correction stands beside it."),
    )


class CorrectionForm(EndForm):
    """Why a closed visit is corrected; it stays closed."""

    correction = forms.CharField(
        label=gettext_lazy("Why it is corrected"),
        max_length=400,
        help_text=gettext_lazy("The record as it was stays beside the corrected one."),
    )
    outcome = forms.ChoiceField(label=gettext_lazy("Outcome"), choices=Outcome.choices)


def measured_field(name: str, units: str) -> forms.FloatField:
    """The field of a quantity, its unit in the label."""
    measure = MEASURES[name]
    unit = measure.unit(units)
    return number_field(f"{measure.label}, {unit}" if unit else str(measure.label))
