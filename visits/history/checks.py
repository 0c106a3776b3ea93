"""The first pass: every cell, each visit's rows together, and the facts the whole file should agree on."""

from collections.abc import Sequence
from datetime import UTC, timedelta
from uuid import UUID

from django.utils import timezone

from visits.history.cells import Refusal
from visits.history.columns import NOT_KNOWN, OWN, VISIT_FACTS, Fault, Row, RowReader
from visits.history.ledger import Ledger
from visits.history.report import Remark, Remarks
from visits.models import Phase

VISIT_ROWS_LIMIT = 500
BURNERS_LIMIT = 99
ONE_DAY = timedelta(days=1)
"""Zones differ by so much: only what lies further off is odd."""

_VISIT_FACT_PLACES = [(name, Row._fields.index(name)) for name in VISIT_FACTS]


class Checker:
    """Takes the rows of a file one by one and writes down what is wrong with them."""

    def __init__(self, reader: RowReader, ledger: Ledger, remarks: Remarks) -> None:
        self._reader = reader
        self._ledger = ledger
        self._remarks = remarks
        self.rows = 0
        self.bad_rows = 0
        self._visit: UUID | None = None
        self._first: Row | None = None
        self._rows_of_visit = 0
        self._facts: tuple[object, ...] = ()
        self._tomorrow = timezone.now().date() + ONE_DAY
        self._turns: dict[tuple[str, str], float] = {}

    def check(self, number: int, cells: Sequence[str]) -> None:
        """Check one row against itself, its visit and the file."""
        self.rows += 1
        row, faults = self._reader.read(number, cells)
        visit = row.visit if row else self._visit_of(cells)
        if visit is not None and visit != self._visit:
            faults += self._visit_begins(visit, number, cells)
        self._rows_of_visit += 1
        if self._rows_of_visit == VISIT_ROWS_LIMIT + 1:
            faults.append(Fault("visit", str(visit), f"has more than {VISIT_ROWS_LIMIT} rows"))
        if row is not None:
            faults += self._against_visit(row)
            faults += self._against_file(row)
        if faults:
            self._write_down(number, visit, faults)

    def _visit_of(self, cells: Sequence[str]) -> UUID | None:
        try:
            return self._reader.visit_of(cells)
        except Refusal:
            return None

    def _visit_begins(self, visit: UUID, number: int, cells: Sequence[str]) -> list[Fault]:
        self._visit, self._first, self._rows_of_visit = visit, None, 0
        self._turns.clear()
        begun = self._ledger.visit_begins(visit, number)
        if begun is None:
            return []
        text = self._reader.visit_text(cells)
        return [Fault("visit", text, f"began in row {begun}: one visit's rows must follow each other")]

    def _against_visit(self, row: Row) -> list[Fault]:
        if self._first is None:
            self._first = row
            self._note_odd_dates(row)
        faults = [] if row[:OWN] == self._first[:OWN] else _differences(row, self._first)
        if row.adjusted_trim and row.phase != Phase.AS_LEFT:
            faults.append(
                Fault("adjusted_trim", row.adjusted_trim, "stands on an as_found row: only as_left")
            )
        self._note_what_is_not_kept(row)
        return faults

    def _note_odd_dates(self, row: Row) -> None:
        on = row.observed_at.date()
        if on > self._tomorrow:
            self._note(row, "observed_at", on, "lies ahead of today: check the date")
        if row.calibrated_on and on < row.calibrated_on - ONE_DAY:
            self._note(row, "observed_at", on, f"lies before calibrated_on, {row.calibrated_on}: check both")

    def _note_what_is_not_kept(self, row: Row) -> None:
        if row.calibrated_on and not row.analyser:
            self._note(row, "calibrated_on", row.calibrated_on, "is not kept: no analyser is named")
        if row.turns is None:
            return
        if len(row.trims) != 1:
            self._note(row, "turns", row.turns, "is not kept: adjusted_trim names no single trim")
            return
        kept = self._turns.setdefault((row.burner, row.adjusted_trim), row.turns)
        if kept != row.turns:
            self._note(row, "turns", row.turns, f"is not kept: the visit gave {kept:g} for this trim before")

    def _against_file(self, row: Row) -> list[Fault]:
        if row.facts == self._facts:
            return []
        self._facts = row.facts
        faults = [*self._identity_faults(row), *self._burner_faults(row)]
        self._learn_fuel(row)
        for name, kept in self._learn(row).items():
            self._note(row, name, getattr(row, name), f"is not kept: the file gave {kept!r} before")
        return faults

    def _identity_faults(self, row: Row) -> list[Fault]:
        stated = {"maker": row.maker, "model": row.model}
        differing = self._ledger.facts_learn(("appliance", *row[:4]), stated)
        return [
            Fault(name, stated[name], f"is not {kept!r}, as the file gave for this appliance before")
            for name, kept in differing.items()
        ]

    def _learn_fuel(self, row: Row) -> None:
        """A gas conversion is part of a history: the appliance burns what it burned last."""
        known = self._ledger.facts("appliance", *row[:4]).get("fuel", row.fuel)
        if known != row.fuel:
            self._note(row, "fuel", row.fuel, f"is another than {known!r} before: taken as a conversion")
        at = row.observed_at.astimezone(UTC).isoformat()
        self._ledger.facts_renew(("appliance", *row[:4]), {"fuel": row.fuel}, at)

    def _learn(self, row: Row) -> dict[str, object]:
        """Keep the facts of site, appliance, burner and model. Returns those the file gave otherwise."""
        learn, place = self._ledger.facts_learn, row[:4]
        control = {"turndown": row.turndown, "control_pressure_pa": row.control_pressure_pa}
        premix = {"premix": True} if any(control.values()) or row.adjusted_trim else {}
        appliance = self._ledger.facts("appliance", *place)
        if "model" in appliance:
            learn(("model", appliance.get("maker", NOT_KNOWN), appliance["model"]), control | premix)
        site = {"gas_area": row.gas_area, "timezone": row.timezone, "elevation_m": row.elevation_m}
        return {
            **learn(("site", *row[:2]), site),
            **learn(("appliance", *place), {"serial": row.serial, "input_kw": row.input_kw} | premix),
            **learn(("burner", *place, row.burner), control),
        }

    def _burner_faults(self, row: Row) -> list[Fault]:
        if row.burner.isascii() and row.burner.isdigit():
            if not 1 <= int(row.burner) <= BURNERS_LIMIT:
                return [Fault("burner", row.burner, f"as a number is not from 1 to {BURNERS_LIMIT}")]
        elif row.burner:
            appliance = ("appliance", *row[:4])
            self._ledger.facts_learn(appliance, {f"burner {row.burner}": True})
            if sum(name.startswith("burner ") for name in self._ledger.facts(*appliance)) > BURNERS_LIMIT:
                return [
                    Fault("burner", row.burner, f"would be one more than {BURNERS_LIMIT} of an appliance")
                ]
        return []

    def _note(self, row: Row, column: str, value: object, reason: str) -> None:
        remark = Remark(row.number, column, str(value), reason)
        if self._ledger.is_new(f"{row[:4]} {row.burner} {column} {value} {reason}"):
            self._remarks.note(remark)

    def _write_down(self, number: int, visit: UUID | None, faults: list[Fault]) -> None:
        self.bad_rows += 1
        for fault in faults:
            self._remarks.fault(Remark(number, fault.column, fault.value, fault.reason))
            self._ledger.row_is_bad(number, visit, f"{fault.column}: {fault.reason}".removeprefix(": "))


def _differences(row: Row, first: Row) -> list[Fault]:
    return [
        Fault(
            name,
            str(row[place] or ""),
            f"is not {str(first[place] or '')!r} as in row {first.number} of the same visit",
        )
        for name, place in _VISIT_FACT_PLACES
        if row[place] != first[place]
    ]
