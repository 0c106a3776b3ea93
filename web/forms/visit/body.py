"""The body of a save, from a sheet whose forms are valid.

What was not touched is sent exactly as it is stored, what was emptied is withdrawn. Rows typed in one save
share its moment: nothing says how long was waited between them. A move has a time of its own where the
person pressed the button at it, or the time of the save that it came alone with; else none, and the readings
that it names say where it stands. A test that holds several readings is a stream: what is typed then is one
reading more, and a log stands for the whole of it.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.utils import timezone

from fleet.units import MEASURES
from visits.payload import ROWS, VisitIn
from visits.schema import VisitAnswer
from web.forms.measured import stored_of
from web.forms.visit.parts import AFTER_A_MOVE, CHOSEN, FIRST, MORE
from web.forms.visit.sheet import FiringRow, Row, VisitSheet

EMPTIED = "emptied in the browser"
_ANSWER_ONLY = (set(VisitAnswer.model_fields) - set(VisitIn.model_fields)) | {"make_safe", "save_no"}
_SEQUENCE = {"as_found": 0, "working": 1000, "as_left": 50_000}
_Rows = Iterator[dict[str, Any]]


def visit_body(
    sheet: VisitSheet, *, appliance: str, attendance: str | None, save_no: int, now: datetime
) -> dict[str, Any]:
    """The body of the save that these forms make."""
    head, end = sheet.head.cleaned_data, sheet.end.cleaned_data
    stamp = now.isoformat()
    writer = _Writer(sheet, stamp)
    body = {
        "save_no": save_no,
        "appliance": appliance,
        "attendance": attendance,
        "kind": head["kind"],
        "analyser": str(head["analyser"].uuid) if head["analyser"] else None,
        "analyser_text": head["analyser_text"] or None,
        "opened_at": sheet.stored.get("opened_at", stamp),
        "tests": list(writer.tests()),
        "adjustments": list(writer.adjustments()),
        "temporary_changes": list(writer.changes()),
        "plant_settings": list(writer.settings()),
        "items": list(writer.items()),
        "parts": list(writer.parts()),
        "notes": end["notes"] if end["notes"] or sheet.stored.get("notes") else None,
    }
    if end["outcome"] and not sheet.correcting:
        body |= {"outcome": end["outcome"], "closed_at": stamp}
    return {name: value for name, value in body.items() if value is not None}


def correction_body(sheet: VisitSheet, *, save_no: int, now: datetime) -> dict[str, Any]:
    """The whole of a closed visit again, with its reason: what the form does not show stays as it was."""
    stored = {name: value for name, value in sheet.stored.items() if name not in _ANSWER_ONLY}
    own = visit_body(sheet, appliance=stored["appliance"], attendance=None, save_no=save_no, now=now)
    body = {**stored, **{name: value for name, value in own.items() if name not in ROWS}}
    for name in ("analyser", "analyser_text"):
        if name not in own:
            body.pop(name, None)
    for rows in ROWS:
        told = {row["key"]: row for row in own[rows]}
        merged = {row["key"]: row for row in stored.get(rows, ())}
        for key, row in told.items():
            merged[key] = {**merged.get(key, {}), **row} if "withdrawn_reason" in row else row
        body[rows] = list(merged.values())
    end = sheet.end.cleaned_data
    return {**body, "outcome": end["outcome"], "reason": end["correction"]}


class _Writer:
    """Rows of the body, list by list."""

    def __init__(self, sheet: VisitSheet, stamp: str) -> None:
        self.sheet, self.stamp, self.units = sheet, stamp, sheet.units

    def tests(self) -> _Rows:
        """Every firing test: as found, after each move, as left."""
        for place, row in enumerate(self.sheet.found, start=1):
            yield from self._test(row, place)
        for place, move in enumerate(self.sheet.moves, start=1):
            yield from self._test_after(move, place)
        for place, row in enumerate(self.sheet.left, start=1):
            yield from self._test(row, place)

    def _test(self, row: FiringRow, place: int) -> _Rows:
        kept = self.sheet.kept["tests"].get(row.key)
        told = {"burner": row.burner, "point": row.point, "percent": row.percent, "phase": row.phase}
        yield from self._firing(row, kept, (*FIRST, *MORE), told, place)

    def _test_after(self, row: Row, place: int) -> _Rows:
        key = row.read_key
        entered, kept = row.form.cleaned_data, self.sheet.kept["tests"].get(key)
        point = "low" if entered["trim"] == "offset" else "high"
        told = {"burner": self._burner(entered), "point": point, "phase": "working"}
        if not entered["trim"]:
            if kept:
                yield {"key": key, "withdrawn_reason": EMPTIED}
            return
        yield from self._firing(row, kept, AFTER_A_MOVE, told, place)

    def _firing(
        self, row: Row, kept: Any, names: Sequence[str], told: Mapping[str, Any], place: int
    ) -> _Rows:
        changed = set(row.form.changed_data) & {*names, "settled", "trim", "burner"}
        if kept and not (changed or row.logged or self.sheet.adding == row.read_key):
            yield kept
            return
        readings = self._readings(row, (kept or {}).get("readings") or [], names)
        if not readings:
            if kept:
                yield {"key": row.read_key, "withdrawn_reason": EMPTIED}
            return
        test = {
            "key": row.read_key,
            **told,
            "sequence": (kept or {}).get("sequence", _SEQUENCE[told["phase"]] + 10 * place),
            "settled_stated": row.form.cleaned_data["settled"],
            "readings": readings,
        }
        yield {name: value for name, value in test.items() if value is not None}

    def _readings(self, row: Row, stood: list[dict[str, Any]], names: Sequence[str]) -> list[dict[str, Any]]:
        """The test's readings after this save; none where everything was emptied."""
        before = stood[-1] if stood else {}
        values = self._values(row.form, before, names)
        if row.logged:
            typed = {name: value for name, value in values.items() if name in row.form.changed_data}
            *earlier, last = row.logged
            # What was read by another instrument goes with the log's last reading.
            return [*earlier, {**typed, **last}]
        if not values:
            return []
        adding = self.sheet.adding == row.read_key
        same = values == {name: before[name] for name in names if before.get(name) is not None}
        if same and not adding:
            return stood
        if adding or (len(stood) > 1 and not self.sheet.correcting):
            return [*stood, {"at": self.stamp, **values}]
        # What the form does not show of a reading stays with it; what is corrected was read when it was read.
        others = {name: value for name, value in before.items() if name not in (*names, "at")}
        at = before.get("at", self.stamp) if self.sheet.correcting else self.stamp
        return [{"at": at, **others, **values}]

    def _values(self, form: Any, before: Mapping[str, Any], names: Sequence[str]) -> dict[str, float]:
        """Entered values in SI; one that was not touched stays exactly as it was stored."""
        values: dict[str, float] = {}
        for name in names:
            entered = form.cleaned_data[name]
            if entered is not None:
                values[name] = stored_of(entered, MEASURES[name], self.units, before.get(name))
        return values

    def adjustments(self) -> _Rows:
        """Each move, with the readings before and after it."""
        before: dict[tuple[int, str], str] = {}
        for found in self.sheet.found:
            if self._stands(found, FIRST):
                before[found.burner, found.point] = found.key
            elif found.elsewhere:
                before[found.burner, found.point] = found.elsewhere
        for row in self.sheet.moves:
            kept, entered = self.sheet.kept["adjustments"].get(row.key), row.form.cleaned_data
            if not entered["trim"]:
                if kept:
                    yield {"key": row.key, "withdrawn_reason": EMPTIED}
                continue
            burner = self._burner(entered)
            place = burner, "low" if entered["trim"] == "offset" else "high"
            named: dict[str, str | None] = {"before_test": before.get(place)}
            if self._stands(row, AFTER_A_MOVE):
                named["after_test"] = before[place] = row.read_key
            if kept and not set(row.form.changed_data) & {"burner", "trim", "direction", "amount", "unit"}:
                yield {**kept, **{name: key for name, key in named.items() if key and name not in kept}}
                continue
            move = {
                **{name: value for name, value in (kept or {}).items() if name not in ("turns", "marks")},
                "key": row.key,
                "burner": burner,
                "trim": entered["trim"],
                "direction": entered["direction"] or None,
                entered["unit"] or "turns": entered["amount"],
                "at": (kept or {}).get("at") or self._moved_at(row),
                **named,
            }
            yield {name: value for name, value in move.items() if value is not None}

    def _moved_at(self, row: Row) -> str | None:
        """When the button was pressed, else the save's time if nothing that came after was typed with it."""
        pressed: datetime | None = row.form.cleaned_data["moved_at"]
        if pressed is not None and pressed <= timezone.now():
            return pressed.isoformat()
        fresh = any(self._read_now(left, FIRST) for left in self.sheet.left)
        fresh = fresh or any(self._read_now(move, AFTER_A_MOVE) for move in self.sheet.moves)
        return None if fresh else self.stamp

    def _read_now(self, row: Row, names: Sequence[str]) -> bool:
        typed = bool(set(row.form.changed_data) & set(names)) and self._stands(row, names)
        return typed or bool(row.logged)

    def _stands(self, row: Row, names: Sequence[str]) -> bool:
        return bool(row.logged) or any(row.form.cleaned_data[name] is not None for name in names)

    def _burner(self, entered: Mapping[str, Any]) -> int:
        position: int = entered.get("burner") or self.sheet.burners[0][0]
        return position

    def changes(self) -> _Rows:
        """Settings changed for the test."""
        for row in self.sheet.changes:
            kept, entered = self.sheet.kept["temporary_changes"].get(row.key), row.form.cleaned_data
            if not row.form.stands:
                if kept:
                    yield {"key": row.key, "withdrawn_reason": EMPTIED}
                continue
            if kept and not row.form.has_changed():
                yield kept
                continue
            change = {"key": row.key, "changed_at": (kept or {}).get("changed_at", self.stamp)}
            change |= {name: entered[name] for name in ("what", "was", "set_to", "reason") if entered[name]}
            if entered["put_back"]:
                change["put_back_at"] = (kept or {}).get("put_back_at", self.stamp)
            yield change

    def settings(self) -> _Rows:
        """Settings of the plant, before and after."""
        for row in self.sheet.settings:
            kept, entered = self.sheet.kept["plant_settings"].get(row.key), row.form.cleaned_data
            if row.form.stands:
                yield {"key": row.key, **{name: value for name, value in entered.items() if value}}
            elif kept:
                yield {"key": row.key, "withdrawn_reason": EMPTIED}

    def parts(self) -> _Rows:
        """Parts fitted."""
        for row in self.sheet.parts:
            kept, entered = self.sheet.kept["parts"].get(row.key), row.form.cleaned_data
            if kept and not row.form.has_changed():
                yield kept
            elif entered["part"]:
                at = (kept or {}).get("fitted_at", self.stamp)
                burner = self._burner(entered)
                yield {"key": row.key, "part": entered["part"], "burner": burner, "fitted_at": at}
            elif kept:
                yield {"key": row.key, "withdrawn_reason": EMPTIED}

    def items(self) -> _Rows:
        """Answers to the list."""
        kept_rows = self.sheet.kept["items"]
        for row in self.sheet.item_rows():
            kept = kept_rows.get(row.key)
            if kept and not row.form.has_changed():
                yield kept
            elif answer := self._answer(row):
                same = kept is not None and all(
                    kept.get(name) == answer.get(name) for name in ("state", "number", "choice")
                )
                yield {**answer, "at": kept.get("at", self.stamp) if kept and same else self.stamp}
            elif kept:
                yield {"key": row.key, "withdrawn_reason": EMPTIED}

    def _answer(self, row: Row) -> dict[str, Any] | None:
        entered, form = row.form.cleaned_data, row.form
        state, words, number = entered["state"], entered["reason"], entered.get("number")
        answer: dict[str, Any] = {"key": row.key, "code": form.item["code"]}
        if number is not None:
            measured = form.measure.stored(number, self.units) if form.measure else number
            answer |= {"state": "done", "number": measured, "unit": form.item["unit"]}
        elif state.startswith(CHOSEN):
            answer |= {"state": "done", "choice": state.removeprefix(CHOSEN)}
        elif state:
            answer |= {"state": state}
        else:
            return None
        return {**answer, ("note" if answer["state"] == "done" else "reason"): words} if words else answer
