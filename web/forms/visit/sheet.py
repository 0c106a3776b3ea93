"""One sheet holds a whole visit in the order of the work: it reads a body (as `visit_answer` gives it), and
`web.forms.visit.body` writes the next one."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from django import forms
from django.utils.translation import gettext as _

from common.problems import Problem
from fleet.models import Analyser, Appliance, Point, WorkStep
from fleet.units import MEASURES
from visits.analyser_log import Clock
from visits.judging.health import SINGLE_POINT
from visits.models import Kind, Outcome
from visits.payload import ROWS
from web.forms.measured import shown
from web.forms.visit.conflicts import Conflict, conflicts_of
from web.forms.visit.logs import Known, LogForm
from web.forms.visit.parts import (
    AFTER_A_MOVE,
    CHOSEN,
    FIRST,
    MORE,
    ChangeForm,
    CorrectionForm,
    EndForm,
    FiringForm,
    HeadForm,
    ItemForm,
    MoveForm,
    PartForm,
    SettingForm,
)

SPARE_ROWS = {"move": 1, "change": 1, "setting": 3, "part": 2}
PLACES: Mapping[str, tuple[str, ...]] = {
    "arrive": (WorkStep.ARRIVE,),
    "settings": (WorkStep.SETTINGS,),
    "found": (WorkStep.AS_FOUND,),
    "opened": (WorkStep.ISOLATE, WorkStep.INSPECT, WorkStep.REASSEMBLE, WorkStep.SAFETY_DEVICES),
    "fired": (WorkStep.FIRING,),
    "end": (WorkStep.SEAL, WorkStep.PUT_BACK, WorkStep.RUNNING, WorkStep.CLOSE),
}
"""Which steps of the list stand in which part of the page."""


@dataclass(frozen=True)
class Asked:
    """What a visit of this appliance is asked for: its items by step, and what a test usually alters."""

    items: Mapping[str, Any] = field(default_factory=lambda: {"kind": "", "steps": []})
    suggestions: Sequence[Mapping[str, Any]] = ()
    units_of_plant: Sequence[str] = ()
    part_rates: Sequence[float] = ()


@dataclass(frozen=True)
class Row:
    """One row of the sheet: its key, its heading, its form; of a firing test also its log and its key."""

    key: str
    text: str
    form: Any
    caution: str = ""
    log: LogForm | None = None
    read_key: str = ""

    @property
    def logged(self) -> list[dict[str, Any]]:
        """The readings of a log that was given with it."""
        return self.log.readings if self.log else []


@dataclass(frozen=True)
class FiringRow(Row):
    """One firing test of the sheet."""

    burner: int = 1
    point: str = "high"
    percent: float | None = None
    phase: str = "as_found"
    elsewhere: str = ""
    """Key of a test of the same point and phase that another device read."""


@dataclass(frozen=True)
class ItemGroup:
    """The items of one step of the work."""

    title: str
    caution: str
    rows: Sequence[Row]

    @property
    def answered(self) -> int:
        """How many have an answer."""
        return sum(row.form.answered for row in self.rows)

    @property
    def open(self) -> bool:
        """Something in it was refused, or it is begun and not finished."""
        return any(row.form.errors for row in self.rows if row.form.is_bound) or (
            0 < self.answered < len(self.rows)
        )


class VisitSheet:
    """All forms of one visit. `correcting` a closed one asks for the reason, and cannot open it again."""

    def __init__(
        self,
        *,
        appliance: Appliance,
        stored: dict[str, Any],
        units: str,
        asked: Asked | None = None,
        data: Any = None,
        files: Any = None,
        kind: str = "",
        correcting: bool = False,
        adding: str = "",
        clock: Clock | None = None,
        known: Known | None = None,
    ) -> None:
        """`adding`: key of the test that takes what was typed as one reading more."""
        self.units, self.stored, self.correcting = units, stored, correcting
        self.adding = "" if correcting else adding
        self._make_log = partial(LogForm, data, files, clock=clock, known=known or {})
        self.asked = asked or Asked()
        self.kept = {
            name: {row["key"]: row for row in stored.get(name, ()) if "withdrawn_reason" not in row}
            for name in ROWS
        }
        self._data = data
        self.burners = [(row.position, str(row)) for row in appliance.burners.all()] or [(1, "")]
        self._single_point = appliance.model.ratio_control in SINGLE_POINT
        self.head = HeadForm(data, prefix="head", initial=self._head_initial(kind))
        self.items = {
            place: [self._group(step) for code in codes for step in self._steps() if step["code"] == code]
            for place, codes in PLACES.items()
        }
        self.found = list(self._firings("as_found", (Point.HIGH, Point.LOW), again=False))
        self.left = list(self._firings("as_left", (Point.HIGH, Point.LOW), again=True))
        make_move = partial(MoveForm, units=units, burners=self.burners)
        self.moves = [
            replace(row, log=self._make_log(prefix=f"{row.key}-log"), read_key=after_key(row.key))
            for row in self._numbered("adjustments", "move", make_move, self._move_initial)
        ]
        self.changes = [*self._suggested(), *self._free_changes()]
        self.settings = self._numbered("plant_settings", "setting", SettingForm, dict)
        self.parts = self._numbered("parts", "part", partial(PartForm, burners=self.burners), dict)
        end_class = CorrectionForm if correcting else EndForm
        initial = {"notes": stored.get("notes", "")}
        initial |= {"outcome": stored.get("outcome", "")} if correcting else {}
        self.end = end_class(data, prefix="end", initial=initial)
        self.conflicts: list[Conflict] = []
        """Rows that another device sent otherwise, after a save that was refused for them."""

    @property
    def left_needed(self) -> bool:
        """Readings as left are asked for once a trim was moved, or where some stand."""
        return bool(self.kept["adjustments"]) or any(
            name.value() not in (None, "", False) for row in self.left for name in row.form.first
        )

    def is_valid(self) -> bool:
        """Every form is asked, so that all errors show at once."""
        valid = all([form.is_valid() for form in self.all_forms()])
        if valid and self.end.cleaned_data["outcome"] == Outcome.COMPLETED:
            valid = self._put_back_or_said()
        return all([valid, self._something_to_add(), self._logs_have_their_trim()])

    def all_forms(self) -> Iterator[forms.Form]:
        """All forms in the order of the page."""
        yield self.head
        for row in self.rows():
            yield row.form
            if row.log is not None:
                yield row.log
        yield self.end

    def rows(self) -> Iterator[Row]:
        """All rows in the order of the work."""
        yield from self.item_rows("arrive", "settings")
        yield from (*self.changes, *self.settings, *self.found)
        yield from self.item_rows("found", "opened")
        yield from (*self.parts, *self.moves, *self.left)
        yield from self.item_rows("fired", "end")

    def item_rows(self, *places: str) -> Iterator[Row]:
        """The items of these parts of the page; of all where none is named."""
        for place in places or self.items:
            for group in self.items[place]:
                yield from group.rows

    def errors(self) -> list[tuple[str, str, str]]:
        """Where, what and the element's id, for the summary on top."""
        found: list[tuple[str, str, str]] = []
        for form in self.all_forms():
            found += [(_("The visit"), str(error), "") for error in form.non_field_errors()]
            for bound in form:
                found += [(str(bound.label), str(error), bound.id_for_label) for error in bound.errors]
        return found

    def add_problem(self, problem: Problem) -> None:
        """Show what the service refused: on top, since the forms have checked each field already."""
        if problem.code == "row_conflict":
            told = problem.members.get("conflicts", ())
            self.conflicts = conflicts_of(told, self._labels(), self.units)
            self.head.add_error(
                None, _("Another device saved these otherwise. Choose for each, and save again.")
            )
            return
        for detail in [f"{row['field']}: {row['detail']}" for row in problem.errors] or [problem.detail]:
            self.head.add_error(None, detail)

    def _labels(self) -> dict[str, str]:
        """What the page calls each row, by its key, and each member of the visit."""
        named = {name: str(self.head[name].label) for name in self.head.fields}
        named |= {name: str(self.end[name].label) for name in self.end.fields}
        for row in self.rows():
            named[row.key] = getattr(row.form, "named", "") or row.text
            if row.read_key:
                named[row.read_key] = f"{_('Firing test')}: {row.text}"
        return named

    def logs(self) -> Iterator[LogForm]:
        """The logs of all firing tests."""
        return (row.log for row in self.rows() if row.log is not None)

    def _something_to_add(self) -> bool:
        """One more reading holds at least one value."""
        row = next((row for row in self.rows() if row.read_key == self.adding), None) if self.adding else None
        names = FIRST if isinstance(row, FiringRow) else AFTER_A_MOVE
        if row is None or any(row.form.cleaned_data.get(name) is not None for name in names):
            return True
        row.form.add_error(names[0], _("Type what the analyser shows, then add it."))
        return False

    def _logs_have_their_trim(self) -> bool:
        """A log after a move belongs to a trim."""
        lost = [row for row in self.moves if row.logged and not row.form.cleaned_data.get("trim")]
        for row in lost:
            row.form.add_error("trim", _("Say which trim was moved."))
        return not lost

    def _put_back_or_said(self) -> bool:
        """Completing leaves nothing changed without a word why."""
        asked = [
            (row, said)
            for rows, said in (
                (self.changes, _("Not put back: put it back, or say why it stays changed.")),
                (self.settings, _("It is not as it was: put it back, or say why it stays changed.")),
            )
            for row in rows
            if row.form.left_changed()
        ]
        for row, said in asked:
            row.form.add_error("reason", said)
        return not asked

    def _head_initial(self, kind: str) -> dict[str, Any]:
        analyser = self.stored.get("analyser")
        return {
            "kind": self.stored.get("kind") or kind or Kind.ANNUAL_SERVICE,
            "analyser": Analyser.objects.filter(uuid=analyser).first() if analyser else None,
            "analyser_text": self.stored.get("analyser_text", ""),
        }

    def _steps(self) -> list[dict[str, Any]]:
        steps: list[dict[str, Any]] = self.asked.items["steps"]
        return steps

    def _group(self, step: Mapping[str, Any]) -> ItemGroup:
        by_code = {row.get("code"): row for row in self.kept["items"].values()}
        rows = []
        for item in step["items"]:
            kept = by_code.get(item["code"], {})
            form = ItemForm(self._data, prefix=item["code"], item=item, units=self.units)
            form.initial = _item_initial(kept, form)
            rows.append(Row(kept.get("key", item["code"]), item["text"], form, item["caution"]))
        return ItemGroup(step["title"], step["caution"], rows)

    def _firings(self, phase: str, points: Sequence[str], *, again: bool) -> Iterator[FiringRow]:
        words = {"high": _("High fire"), "low": _("Low fire"), "again": _("High fire again")}
        for position, name in self.burners:
            places: list[tuple[str, str, float | None]] = [(str(point), str(point), None) for point in points]
            places += [(f"p{percent:g}", "percent", percent) for percent in self.asked.part_rates]
            places += [("again", "high", None)] if again else []
            for suffix, point, percent in places:
                key = f"b{position}-{phase}-{suffix}"
                if self._single_point and suffix in ("low", "again") and key not in self.kept["tests"]:
                    continue
                text = _("%(rate)g %% of rate") % {"rate": percent} if percent else words[suffix]
                elsewhere = "" if suffix == "again" else self._elsewhere(key, position, point, percent, phase)
                yield FiringRow(
                    key, f"{name}: {text}" if len(self.burners) > 1 else text, self._firing_form(key), "",
                    self._make_log(prefix=f"{key}-log"), key, position, point, percent, phase, elsewhere,
                )  # fmt: skip

    def _firing_form(self, key: str) -> FiringForm:
        kept = self.kept["tests"].get(key, {})
        initial = self._measured_initial(kept, (*FIRST, *MORE))
        return FiringForm(self._data, prefix=key, initial=initial, units=self.units)

    def _elsewhere(self, key: str, position: int, point: str, percent: float | None, phase: str) -> str:
        """The key under which another device read the same: shown, and left alone."""
        for other, row in self.kept["tests"].items():
            if other != key and not other.startswith("b") and (
                (row.get("burner", position), row["point"], row.get("percent"), row["phase"])
                == (position, point, percent, phase)
            ):  # fmt: skip
                return str(other)
        return ""

    def _measured_initial(self, kept: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
        reading = (kept.get("readings") or [{}])[-1]
        initial: dict[str, Any] = {
            name: shown(MEASURES[name].value(reading[name], self.units))
            for name in names
            if reading.get(name) is not None
        }
        return {**initial, "settled": kept.get("settled_stated", False)}

    def _numbered(self, name: str, word: str, make: Any, initial_of: Any) -> list[Row]:
        return self._rows_of(list(self.kept[name]), word, self.kept[name], make, initial_of)

    def _rows_of(self, keys: list[str], word: str, kept: Mapping[str, Any], make: Any, of: Any) -> list[Row]:
        """Kept rows, then spare ones under keys that are free."""
        count = len(keys) + SPARE_ROWS[word]
        spare = (f"{word}-{number}" for number in range(1, count + len(keys) + 1))
        keys = keys + [key for key in spare if key not in keys][: count - len(keys)]
        return [
            Row(key, str(number), make(self._data, prefix=key, initial=of(kept.get(key, {}))))
            for number, key in enumerate(keys, start=1)
        ]

    def _suggested(self) -> Iterator[Row]:
        for row in self.asked.suggestions:
            kept = self.kept["temporary_changes"].get(row["key"])
            initial = {name: row[name] for name in ("what", "was", "set_to")} | (kept or {})
            initial |= {"changed": kept is not None, "put_back": bool((kept or {}).get("put_back_at"))}
            form = ChangeForm(self._data, prefix=row["key"], initial=initial, suggested=True)
            yield Row(row["key"], row["what"], form, row["caution"])

    def _free_changes(self) -> list[Row]:
        suggested = {row["key"] for row in self.asked.suggestions}
        kept = {key: row for key, row in self.kept["temporary_changes"].items() if key not in suggested}
        return self._rows_of(
            list(kept), "change", kept, ChangeForm,
            lambda row: {**row, "put_back": bool(row.get("put_back_at"))},
        )  # fmt: skip

    def _move_initial(self, kept: Mapping[str, Any]) -> dict[str, Any]:
        unit = "marks" if "marks" in kept else "turns"
        after = self.kept["tests"].get(after_key(kept["key"]), {}) if kept else {}
        return {
            **kept,
            "burner": kept.get("burner"),
            "unit": unit,
            "amount": kept.get(unit),
            **self._measured_initial(after, AFTER_A_MOVE),
        }


def after_key(move_key: str) -> str:
    """The key of the test that is read after a move."""
    return f"after-{move_key}"


def _item_initial(kept: Mapping[str, Any], form: ItemForm) -> dict[str, Any]:
    state = kept.get("state", "")
    if state == "done" and form.item["answer"] == "choice":
        state = f"{CHOSEN}{kept['choice']}" if kept.get("choice") else ""
    if state == "done" and form.item["answer"] == "number":
        state = ""
    number = kept.get("number")
    if number is not None and form.measure is not None and kept.get("unit") in (None, form.item["unit"]):
        number = form.measure.value(number, form.units)
    return {
        "state": state,
        "number": None if number is None else shown(number),
        "reason": kept.get("reason") or kept.get("note") or "",
    }
