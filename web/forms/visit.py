"""The visit form: plain form fields on one side, the body of a save on the other.

One sheet holds the whole visit in the order of the work. It reads a body (as `visit_answer` gives it) and
writes the next one; what was not touched keeps its time, what was emptied is withdrawn.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from common.constraints import MEASURED_LIMIT
from common.problems import Problem
from fleet.models import Analyser, Appliance, TrimKind
from visits.models import Kind, Outcome
from web.units import MEASURES

ENTERED = (
    "co2_pct",
    "o2_pct",
    "co_ppm",
    "flue_temp_c",
    "air_temp_c",
    "return_temp_c",
    "inlet_pressure_mbar",
    "fan_rpm",
)
SPARE_ROWS = 2
EMPTIED = "emptied in the browser"


@dataclass(frozen=True)
class Step:
    """One thing that is ticked, or not done with its reason."""

    code: str
    text: str | Promise


BEFORE = (
    Step("personal_co_alarm", gettext_lazy("Personal CO alarm on and tested")),
    Step("smell_of_gas", gettext_lazy("Checked for a smell of gas on arrival; none")),
    Step("flue_and_ventilation", gettext_lazy("Flue and ventilation looked at")),
    Step("settings_recorded", gettext_lazy("Settings recorded before the test")),
)
BETWEEN = (
    Step("isolated_proved_cooled", gettext_lazy("Gas and electricity isolated, proved, cooled")),
    Step("inspected_and_cleaned", gettext_lazy("Inspected and cleaned, new seals where opened")),
    Step("tightness_tested", gettext_lazy("Tightness of what was disturbed tested, before firing")),
    Step("safety_devices", gettext_lazy("Safety devices checked")),
)
AFTER = (
    Step("trims_sealed", gettext_lazy("Trims and test points sealed")),
    Step("seen_running", gettext_lazy("Seen running in normal control")),
)
STATES = [
    ("", gettext_lazy("not answered")),
    ("done", gettext_lazy("done")),
    ("not_done", gettext_lazy("not done")),
    ("not_applicable", gettext_lazy("not applicable")),
]


class HeadForm(forms.Form):
    """What the visit is, and with which analyser."""

    kind = forms.ChoiceField(label=gettext_lazy("Kind of visit"), choices=Kind.choices)
    analyser = forms.ModelChoiceField(
        Analyser.objects.filter(retired_on__isnull=True),
        label=gettext_lazy("Analyser"),
        required=False,
        empty_label=gettext_lazy("another, or none"),
    )
    analyser_text = forms.CharField(label=gettext_lazy("Another analyser"), max_length=120, required=False)
    ambient_co_ppm = forms.FloatField(
        label=gettext_lazy("CO in room air on arrival, ppm"),
        required=False,
        min_value=-MEASURED_LIMIT,
        max_value=MEASURED_LIMIT,
    )


class StepForm(forms.Form):
    """One step of the order of work."""

    state = forms.ChoiceField(choices=STATES, required=False)
    reason = forms.CharField(label=gettext_lazy("Why not"), max_length=400, required=False)

    def clean(self) -> dict[str, Any]:
        """What was not done needs its reason."""
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("state") == "not_done" and not cleaned.get("reason"):
            self.add_error("reason", _("Say why it was not done."))
        return cleaned


class FiringForm(forms.Form):
    """One firing point in one phase."""

    settled = forms.BooleanField(label=gettext_lazy("Settled before reading"), required=False)

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ENTERED:
            measure = MEASURES[name]
            unit = measure.unit(units)
            self.fields[name] = forms.FloatField(
                label=f"{measure.label}, {unit}" if unit else str(measure.label),
                required=False,
                min_value=-MEASURED_LIMIT,
                max_value=MEASURED_LIMIT,
                widget=forms.TextInput(
                    attrs={"inputmode": "decimal", "class": "numeric", "autocomplete": "off"}
                ),
            )
        self.order_fields([*ENTERED, "settled"])


class MoveForm(forms.Form):
    """One move of a trim."""

    trim = forms.ChoiceField(
        label=gettext_lazy("Trim"), choices=[("", "–"), *TrimKind.choices], required=False
    )
    direction = forms.ChoiceField(
        label=gettext_lazy("Which way, as seen"),
        choices=[
            ("", "–"),
            ("clockwise", gettext_lazy("clockwise")),
            ("anticlockwise", gettext_lazy("anticlockwise")),
        ],
        required=False,
    )
    turns = forms.FloatField(
        label=gettext_lazy("Turns"), required=False, min_value=0, max_value=100,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "numeric"}),
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """A direction or an amount belongs to a trim."""
        cleaned = super().clean() or self.cleaned_data
        if not cleaned.get("trim") and (cleaned.get("direction") or cleaned.get("turns") is not None):
            self.add_error("trim", _("Say which trim was moved."))
        return cleaned


class ChangeForm(forms.Form):
    """One setting changed only for the test."""

    what = forms.CharField(label=gettext_lazy("Setting"), max_length=120, required=False)
    was = forms.CharField(label=gettext_lazy("Was"), max_length=120, required=False)
    set_to = forms.CharField(label=gettext_lazy("Set to"), max_length=120, required=False)
    put_back = forms.BooleanField(label=gettext_lazy("Put back"), required=False)
    reason = forms.CharField(label=gettext_lazy("If not put back, why"), max_length=400, required=False)

    def clean(self) -> dict[str, Any]:
        """A value belongs to a setting."""
        cleaned = super().clean() or self.cleaned_data
        if not cleaned.get("what") and any(cleaned.get(name) for name in ("was", "set_to", "put_back")):
            self.add_error("what", _("Say which setting was changed."))
        return cleaned


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


@dataclass(frozen=True)
class Row:
    """One row of the sheet: its key, its heading, its form."""

    key: str
    text: str
    form: forms.Form


class VisitSheet:
    """All forms of one visit."""

    def __init__(
        self, *, appliance: Appliance, stored: dict[str, Any], units: str, data: Any = None, kind: str = ""
    ) -> None:
        self.units = units
        self.stored = stored
        self._kept = {
            name: {row["key"]: row for row in stored.get(name, ()) if "withdrawn_reason" not in row}
            for name in ("tests", "adjustments", "temporary_changes", "items")
        }
        self._data = data
        self.head = HeadForm(data, prefix="head", initial=self._head_initial(kind))
        self.steps = {
            "before": self._steps(BEFORE), "between": self._steps(BETWEEN), "after": self._steps(AFTER)
        }  # fmt: skip
        burners = list(appliance.burners.all())
        self.found = [row for burner in burners for row in self._firing(burner, "as_found", len(burners) > 1)]
        self.left = [row for burner in burners for row in self._firing(burner, "as_left", len(burners) > 1)]
        self._burner_of = {row.key: int(row.key.split("-")[0][1:]) for row in (*self.found, *self.left)}
        self.moves = self._numbered("adjustments", "move", MoveForm)
        self.changes = self._numbered("temporary_changes", "change", ChangeForm)
        self.end = EndForm(data, prefix="end", initial={"notes": stored.get("notes", "")})

    @property
    def left_needed(self) -> bool:
        """Readings as left are asked for once a trim was moved, or where some were typed."""
        typed = any(row.form.has_changed() for row in self.left) if self._data is not None else False
        stored = any(row.form.initial.get("co2_pct") or row.form.initial.get("o2_pct") for row in self.left)
        return bool(self._kept["adjustments"]) or typed or stored

    def is_valid(self) -> bool:
        """Every form is asked, so that all errors show at once."""
        return all([form.is_valid() for form in self.all_forms()])

    def all_forms(self) -> Iterator[forms.Form]:
        """All forms in the order of the page."""
        yield self.head
        for row in self.rows():
            yield row.form
        yield self.end

    def rows(self) -> Iterator[Row]:
        """All rows in the order of the page."""
        for rows in (
            self.steps["before"], self.changes, self.found, self.steps["between"], self.moves, self.left,
            self.steps["after"],
        ):  # fmt: skip
            yield from rows

    def errors(self) -> list[tuple[str, str, str]]:
        """Where, what and the element's id, for the summary on top."""
        found: list[tuple[str, str, str]] = []
        for form in self.all_forms():
            found += [(_("The visit"), str(error), "") for error in form.non_field_errors()]
            for field in form:
                found += [(str(field.label), str(error), str(field.id_for_label)) for error in field.errors]
        return found

    def body(self, *, appliance: str, attendance: str | None, save_no: int, now: datetime) -> dict[str, Any]:
        """The body of the save that these forms make."""
        head, end = self.head.cleaned_data, self.end.cleaned_data
        stamp = now.isoformat()
        body = {
            "save_no": save_no,
            "appliance": appliance,
            "attendance": attendance,
            "kind": head["kind"],
            "analyser": str(head["analyser"].uuid) if head["analyser"] else None,
            "analyser_text": head["analyser_text"] or None,
            "opened_at": self.stored.get("opened_at", stamp),
            "tests": list(self._tests(stamp)),
            "adjustments": list(self._adjustments(stamp)),
            "temporary_changes": list(self._changes(stamp)),
            "items": list(self._items(stamp)),
            "notes": end["notes"] if end["notes"] or self.stored.get("notes") else None,
        }
        if end["outcome"]:
            body |= {"outcome": end["outcome"], "closed_at": stamp}
        return {name: value for name, value in body.items() if value is not None}

    def add_problem(self, problem: Problem) -> None:
        """Show what the service refused: on top, since the forms have checked each field already."""
        details = [f"{row['field']}: {row['detail']}" for row in problem.errors] or [problem.detail]
        for detail in details:
            self.head.add_error(None, detail)

    def _head_initial(self, kind: str) -> dict[str, Any]:
        return {
            "kind": self.stored.get("kind") or kind or Kind.ANNUAL_SERVICE,
            "analyser": Analyser.objects.filter(uuid=self.stored["analyser"]).first()
            if self.stored.get("analyser")
            else None,
            "analyser_text": self.stored.get("analyser_text", ""),
            "ambient_co_ppm": next(
                (reading["ambient_co_ppm"] for reading in self._readings() if "ambient_co_ppm" in reading),
                None,
            ),
        }

    def _readings(self) -> Iterator[dict[str, Any]]:
        for row in self._kept["tests"].values():
            yield from row.get("readings", ())

    def _steps(self, steps: Sequence[Step]) -> list[Row]:
        rows = []
        for step in steps:
            kept = self._kept["items"].get(step.code, {})
            initial = {"state": kept.get("state", ""), "reason": kept.get("reason", "")}
            form = StepForm(self._data, prefix=step.code, initial=initial)
            form.fields["state"].label = str(step.text)
            rows.append(Row(step.code, str(step.text), form))
        return rows

    def _firing(self, burner: Any, phase: str, several: bool) -> Iterator[Row]:
        for point, text in (("high", _("High fire")), ("low", _("Low fire"))):
            key = f"b{burner.position}-{phase}-{point}"
            kept = self._kept["tests"].get(key, {})
            reading = (kept.get("readings") or [{}])[-1]
            initial = {
                name: _shown(MEASURES[name].value(reading[name], self.units))
                for name in ENTERED
                if reading.get(name) is not None
            }
            initial["settled"] = kept.get("settled_stated", False)
            form = FiringForm(self._data, prefix=key, initial=initial, units=self.units)
            yield Row(key, f"{burner}: {text}" if several else text, form)

    def _numbered(self, name: str, word: str, form_class: type[forms.Form]) -> list[Row]:
        keys = list(self._kept[name])
        count = max(SPARE_ROWS, len(keys) + 1)
        spare = (f"{word}-{number}" for number in range(1, count + len(keys) + 1))
        keys += [key for key in spare if key not in keys][: count - len(keys)]
        rows = []
        for number, key in enumerate(keys, start=1):
            kept = self._kept[name].get(key, {})
            initial = {**kept, "put_back": bool(kept.get("put_back_at"))}
            rows.append(Row(key, str(number), form_class(self._data, prefix=key, initial=initial)))
        return rows

    def _tests(self, stamp: str) -> Iterator[dict[str, Any]]:
        for sequence, row in enumerate([*self.found, *self.left], start=1):
            kept = self._kept["tests"].get(row.key)
            values = self._stored_values(row.form, kept)
            if not values:
                if kept:
                    yield {"key": row.key, "withdrawn_reason": EMPTIED}
                continue
            before = (kept or {}).get("readings") or [{}]
            at = (
                before[-1].get("at", stamp) if {**before[-1], "at": None} == {**values, "at": None} else stamp
            )
            _burner, phase, point = row.key.split("-")
            yield {
                "key": row.key,
                "burner": self._burner_of[row.key],
                "point": point,
                "phase": phase,
                "sequence": (kept or {}).get("sequence", sequence * 10),
                "settled_stated": row.form.cleaned_data["settled"],
                "readings": [{"at": at, **values}],
            }

    def _stored_values(self, form: forms.Form, kept: dict[str, Any] | None) -> dict[str, float]:
        """Entered values in SI; one that was not touched stays exactly as it was stored."""
        before = ((kept or {}).get("readings") or [{}])[-1]
        values = {}
        for name in ENTERED:
            entered = form.cleaned_data[name]
            if entered is None:
                continue
            untouched = name in before and _shown(MEASURES[name].value(before[name], self.units)) == entered
            values[name] = before[name] if untouched else MEASURES[name].stored(entered, self.units)
        ambient = self.head.cleaned_data["ambient_co_ppm"]
        if ambient is not None and form is self.found[0].form:
            # Judged with the first reading, even where nothing else was read: it may be why nothing was.
            values["ambient_co_ppm"] = ambient
        return values

    def _adjustments(self, stamp: str) -> Iterator[dict[str, Any]]:
        for row in self.moves:
            kept, entered = self._kept["adjustments"].get(row.key, {}), row.form.cleaned_data
            if not entered["trim"]:
                if kept:
                    yield {"key": row.key, "withdrawn_reason": EMPTIED}
                continue
            yield {
                **kept,
                "key": row.key,
                "trim": entered["trim"],
                "direction": entered["direction"],
                **({} if entered["turns"] is None else {"turns": entered["turns"]}),
                "at": kept.get("at", stamp),
            }

    def _changes(self, stamp: str) -> Iterator[dict[str, Any]]:
        for row in self.changes:
            kept, entered = self._kept["temporary_changes"].get(row.key, {}), row.form.cleaned_data
            if not entered["what"]:
                if kept:
                    yield {"key": row.key, "withdrawn_reason": EMPTIED}
                continue
            change = {"key": row.key, "changed_at": kept.get("changed_at", stamp)}
            change |= {name: entered[name] for name in ("what", "was", "set_to", "reason")}
            if entered["put_back"]:
                change["put_back_at"] = kept.get("put_back_at", stamp)
            yield change

    def _items(self, stamp: str) -> Iterator[dict[str, Any]]:
        for rows in self.steps.values():
            for row in rows:
                kept, entered = self._kept["items"].get(row.key, {}), row.form.cleaned_data
                if not entered["state"]:
                    if kept:
                        yield {"key": row.key, "withdrawn_reason": EMPTIED}
                    continue
                at = kept["at"] if kept.get("state") == entered["state"] and "at" in kept else stamp
                item = {"key": row.key, "code": row.key, "state": entered["state"], "at": at}
                yield {**item, "reason": entered["reason"]} if entered["reason"] else item


def _shown(value: float) -> float:
    """A stored value as the form shows it: without the noise of conversion."""
    return float(f"{value:.6g}")
