"""The columns of a history file, and one row of it as values."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from operator import itemgetter
from typing import Any, NamedTuple
from uuid import UUID

from fleet.models import FuelSlug, Point, TrimKind
from visits.history import cells
from visits.history.cells import Refusal
from visits.models import FiringTest, Kind, Phase

REASON = "reason"
"""Column of the file of bad rows. Ignored when read, so that a mended file can be given back as it is."""

NOT_KNOWN = "not known"
"""Name of the maker or model of an appliance whose row gives none."""


class Row(NamedTuple):
    """One firing test as the file states it: empty text or None where unknown.

    The first fifteen members are facts of place and appliance, which should agree through the whole file.
    They and the five that follow are the same in all rows of one visit. COLUMNS has the same order.
    Values are dry vol %, ppm, °C, mbar and 1/min as their names say; `input_kw` is on the gross basis.
    """

    customer: str
    site: str
    plant: str
    appliance: str
    burner: str
    serial: str
    maker: str
    model: str
    fuel: str
    input_kw: float | None
    turndown: float | None
    control_pressure_pa: float | None
    gas_area: str
    timezone: str
    elevation_m: float | None
    visit: UUID
    kind: str
    technician: str
    analyser: str
    calibrated_on: date | None
    observed_at: datetime
    firing_point: str
    phase: str
    sequence: int | None
    co2_pct: float | None
    o2_pct: float | None
    co_ppm: float | None
    flue_temp_c: float | None
    air_temp_c: float | None
    inlet_pressure_mbar: float | None
    fan_rpm: float | None
    co2_source: str
    moved_before: bool | None
    adjusted_trim: str
    turns: float | None
    part_fitted: str
    number: int = 0

    @property
    def facts(self) -> tuple[Any, ...]:
        """The members that should agree through the file, and whether a trim is named."""
        return (*self[:15], bool(self.adjusted_trim))

    @property
    def trims(self) -> tuple[str, ...]:
        """The trims this row says were moved."""
        if self.adjusted_trim == "both":
            return (TrimKind.THROTTLE.value, TrimKind.OFFSET.value)
        return (self.adjusted_trim,) if self.adjusted_trim else ()


VISIT_FACTS = (
    "customer", "site", "plant", "appliance", "fuel", "kind", "technician", "analyser", "calibrated_on"
)  # fmt: skip
"""Members that the rows of one visit must share."""


FILL = object()
"""What an empty cell means in a column that must be filled."""


@dataclass(frozen=True, slots=True)
class Column:
    """How a column's cells are read, what an empty one means, and whether a file may lack the column."""

    read: Callable[[str], Any]
    empty: Any = None
    optional: bool = False


def _name(longest: int, *, empty: Any = "", optional: bool = False) -> Column:
    return Column(cells.text(longest), empty, optional)


def _word(values: Sequence[str], *, empty: Any = "", optional: bool = False) -> Column:
    return Column(cells.one_of(values), empty, optional)


def _measured(*, optional: bool = False) -> Column:
    # Readings have few digits, so most cells were met before.
    return Column(lru_cache(maxsize=1024)(cells.number()), optional=optional)


COLUMNS: dict[str, Column] = {
    "customer": _name(200, empty=FILL),
    "site": _name(200, empty=FILL),
    "plant": _name(200, empty=FILL),
    "appliance": _name(80, empty=FILL),
    "burner": _name(80, optional=True),
    "serial": _name(80),
    "maker": _name(120),
    "model": _name(120),
    "fuel": _word(FuelSlug.values, empty=FILL),
    "input_kw": Column(cells.number(0.1, 100_000)),
    "turndown": Column(cells.number(1, 50)),
    "control_pressure_pa": Column(cells.number(1, 20_000)),
    "gas_area": _name(120),
    "timezone": Column(cells.zone_name, "", optional=True),
    "elevation_m": Column(cells.number(-450, 5500), optional=True),
    "visit": Column(cells.visit_uuid, FILL),
    "kind": _word(Kind.values, empty=FILL),
    "technician": _name(150),
    "analyser": _name(80),
    "calibrated_on": Column(cells.day),
    "observed_at": Column(str.strip, FILL),
    "firing_point": _word([Point.HIGH.value, Point.LOW.value], empty=FILL),
    "phase": _word([Phase.AS_FOUND.value, Phase.AS_LEFT.value], empty=FILL),
    "sequence": Column(cells.whole, optional=True),
    "co2_pct": _measured(),
    "o2_pct": _measured(),
    "co_ppm": _measured(),
    "flue_temp_c": _measured(),
    "air_temp_c": _measured(),
    "inlet_pressure_mbar": _measured(optional=True),
    "fan_rpm": _measured(optional=True),
    "co2_source": _word(FiringTest.Source.values, optional=True),
    "moved_before": Column(cells.yes_or_no, optional=True),
    "adjusted_trim": _word([*TrimKind.values, "both"]),
    "turns": _measured(optional=True),
    "part_fitted": _name(80, optional=True),
}
REQUIRED = frozenset(name for name, column in COLUMNS.items() if not column.optional)

OWN = Row._fields.index("observed_at")
"""From here on a row's members are its own; those before are the same in all rows of one visit."""

SHARED_COLUMNS = list(COLUMNS.items())[:OWN]
OWN_COLUMNS = list(COLUMNS.items())[OWN:]
_Readers = Sequence[tuple[Callable[[str], Any], Any]]
_SHARED_READERS: _Readers = [(column.read, column.empty) for _, column in SHARED_COLUMNS]
_OWN_READERS: _Readers = [(column.read, column.empty) for _, column in OWN_COLUMNS]
_ZONE = Row._fields.index("timezone")


@dataclass(frozen=True, slots=True)
class Fault:
    """One cell, or with an empty column one row, that cannot be stored."""

    column: str
    value: str
    reason: str


class RowReader:
    """Turns the cells of a row into a `Row`, for the header of one file."""

    def __init__(self, header: Sequence[str], default_zone: str) -> None:
        self._width = len(header)
        self._default_zone = default_zone
        places = {name: place for place, name in enumerate(header)}
        # A column that the file lacks is read from an empty cell put behind the last.
        self._pick = itemgetter(*(places.get(name, self._width) for name in COLUMNS))
        self._visit_place = places["visit"]
        # Rows of one visit share the cells before OWN: read once, they serve the next row too.
        self._shared_cells: tuple[str, ...] = ()
        self._shared_values: list[Any] = []

    def visit_of(self, row: Sequence[str]) -> UUID | None:
        """The visit a row belongs to, as far as a bad row still says so."""
        cell = self.visit_text(row)
        return cells.visit_uuid(cell) if cell else None

    def visit_text(self, row: Sequence[str]) -> str:
        """The cell that names the visit, empty where the row is too short to have one."""
        return row[self._visit_place].strip() if self._visit_place < len(row) else ""

    def read(self, number: int, row: Sequence[str]) -> tuple[Row | None, list[Fault]]:
        """The row's values, or None and every fault it has."""
        if len(row) != self._width:
            return None, [Fault("", str(len(row)), f"{len(row)} cells where the header has {self._width}")]
        picked = self._pick([*row, ""])
        faults: list[Fault] = []
        shared = picked[:OWN]
        if shared != self._shared_cells:
            self._shared_values = _values(SHARED_COLUMNS, _SHARED_READERS, shared, faults)
            self._shared_cells = () if faults else shared
        values = self._shared_values + _values(OWN_COLUMNS, _OWN_READERS, picked[OWN:], faults)
        self._place_in_time(values, faults)
        return (None, faults) if faults else (Row._make((*values, number)), faults)

    def _place_in_time(self, values: list[Any], faults: list[Fault]) -> None:
        cell = values[OWN]
        if cell is None or (faults and any(fault.column == "timezone" for fault in faults)):
            return
        try:
            values[OWN] = cells.instant(cell, values[_ZONE] or self._default_zone)
        except Refusal as refusal:
            faults.append(Fault("observed_at", cell, str(refusal)))


def _values(
    columns: Sequence[tuple[str, Column]], readers: _Readers, row: Sequence[str], faults: list[Fault]
) -> list[Any]:
    """The values of some cells. The common case, cells that hold what they should, is one tight loop."""
    try:
        values = [read(cell) if cell else empty for (read, empty), cell in zip(readers, row, strict=True)]
    except Refusal:
        return _values_with_faults(columns, row, faults)
    return _values_with_faults(columns, row, faults) if FILL in values else values


def _values_with_faults(
    columns: Sequence[tuple[str, Column]], row: Sequence[str], faults: list[Fault]
) -> list[Any]:
    values = []
    for (name, column), padded in zip(columns, row, strict=True):
        cell = padded.strip()
        value = None
        if not cell and column.empty is FILL:
            faults.append(Fault(name, "", "is empty"))
        elif not cell:
            value = column.empty
        else:
            try:
                value = column.read(cell)
            except Refusal as refusal:
                faults.append(Fault(name, cell, str(refusal)))
        values.append(value)
    return values
