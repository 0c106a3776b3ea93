"""The second pass: stores checked visits in chunks, each judged in the transaction that stores it."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from common.bulk import rows_write
from fleet.models import Burner, PartFitted, Point, TrimKind
from visits.history.cells import zone_of
from visits.history.columns import Row
from visits.history.places import Places
from visits.models import Adjustment, Attendance, FiringTest, Outcome, Phase, Visit

VisitRows = Sequence[Row]
AttendanceKey = tuple[int, int | None, date]
"""Plant, technician and local day."""

Judge = Callable[[Sequence[int]], None]

_MEASURED = (
    "co2_pct", "o2_pct", "co_ppm", "flue_temp_c", "air_temp_c", "inlet_pressure_mbar", "fan_rpm"
)  # fmt: skip
_MEASURED_PLACES = [Row._fields.index(name) for name in _MEASURED]
_VISIT_COLUMNS = (
    "uuid", "attendance", "appliance", "kind", "source", "technician", "analyser", "analyser_period", "fuel",
    "opened_at", "closed_at", "local_on", "received_at", "closed_received_at", "outcome",
)  # fmt: skip
_TEST_COLUMNS = (
    "visit", "key", "burner", "point", "phase", "sequence", "observed_at",
    "settled", "fuel", "co2_source", "moved_before", *_MEASURED,
)  # fmt: skip
_ADJUSTMENT_COLUMNS = (
    "visit", "key", "burner", "trim", "turns", "before_test",
    "after_test", "before_co2_pct", "after_co2_pct",
)  # fmt: skip

# The throttle is set at high fire, the offset at low fire: there its effect is read.
_READ_AT = {TrimKind.THROTTLE: Point.HIGH, TrimKind.OFFSET: Point.LOW}


@dataclass(frozen=True, slots=True)
class _Seen:
    """A visit's rows, when it began and ended, and the attendance it belongs to."""

    rows: VisitRows
    opened_at: datetime
    closed_at: datetime
    attendance: AttendanceKey


@dataclass(frozen=True, slots=True)
class _Test:
    """A row with the key its firing test gets and the burner it is of."""

    key: str
    row: Row
    burner: Burner


def already_stored(uuids: Sequence[UUID]) -> set[UUID]:
    """Those of the visits that are on file, from whatever source. One query."""
    return set(Visit.objects.filter(uuid__in=uuids).values_list("uuid", flat=True))


def visits_store(visits: Sequence[VisitRows], *, places: Places, now: datetime, judge: Judge) -> None:
    """Store visits that are not on file and have them judged. The caller holds the transaction."""
    seen = [_seen(rows, places) for rows in visits]
    attendances = _attendances([visit.attendance for visit in seen])
    rows_write(
        Visit,
        _VISIT_COLUMNS,
        (_visit_values(visit, places, attendances[visit.attendance], now) for visit in seen),
    )
    ids = dict(Visit.objects.filter(uuid__in=[rows[0].visit for rows in visits]).values_list("uuid", "pk"))
    tests = [(ids[visit.rows[0].visit], _tests(visit.rows, places)) for visit in seen]
    rows_write(
        FiringTest,
        _TEST_COLUMNS,
        (
            _test_values(visit_id, test, order)
            for visit_id, own in tests
            for order, test in enumerate(own, start=1)
        ),
    )
    rows_write(
        Adjustment,
        _ADJUSTMENT_COLUMNS,
        (values for visit_id, own in tests for values in _adjustments(visit_id, own)),
    )
    PartFitted.objects.bulk_create([part for _, own in tests for part in _parts(own)], ignore_conflicts=True)
    judge(list(ids.values()))


def _seen(rows: VisitRows, places: Places) -> _Seen:
    first = rows[0]
    times = [row.observed_at for row in rows]
    opened_at = min(times)
    local_on = opened_at.astimezone(zone_of(places.sites[first[:2]].time_zone)).date()
    plant_id = places.plants[first[:3]].pk
    return _Seen(rows, opened_at, max(times), (plant_id, places.technicians.get(first.technician), local_on))


def _attendances(keys: Sequence[AttendanceKey]) -> dict[AttendanceKey, int]:
    """Ids of the standing attendances, those that were missing made."""
    plants, days = {plant for plant, _, _ in keys}, {day for _, _, day in keys}

    def standing() -> dict[AttendanceKey, int]:
        rows = (
            Attendance.objects.standing()
            .filter(plant__in=plants, local_on__in=days)
            .values_list("plant_id", "technician_id", "local_on", "pk")
        )
        return {(plant, technician, day): pk for plant, technician, day, pk in rows}

    known = standing()
    missing = [key for key in dict.fromkeys(keys) if key not in known]
    if missing:
        # A device may open the same day's attendance at this moment: whichever comes second takes it.
        Attendance.objects.bulk_create(
            [
                Attendance(plant_id=plant, technician_id=technician, local_on=day)
                for plant, technician, day in missing
            ],
            ignore_conflicts=True,
        )
        known = standing()
    return known


def _visit_values(seen: _Seen, places: Places, attendance_id: int, now: datetime) -> tuple[Any, ...]:
    first = seen.rows[0]
    _, technician_id, local_on = seen.attendance
    analyser = places.analysers.get(first.analyser)
    period = places.periods.get((first.analyser, first.calibrated_on))
    return (
        first.visit,
        attendance_id,
        places.appliances[first[:4]].pk,
        first.kind,
        Visit.Source.IMPORT.value,
        technician_id,
        analyser.pk if analyser else None,
        period.pk if period else None,
        first.fuel,
        seen.opened_at,
        seen.closed_at,
        local_on,
        now,
        now,
        Outcome.COMPLETED.value,
    )


def _tests(rows: VisitRows, places: Places) -> list[_Test]:
    """The visit's tests in file order, keyed like `as_found-high-1`."""
    met: Counter[str] = Counter()
    tests = []
    for row in rows:
        kind = f"{row.phase}-{row.firing_point}"
        met[kind] += 1
        tests.append(_Test(f"{kind}-{met[kind]}", row, places.burners[row[:5]]))
    return tests


def _test_values(visit_id: int, test: _Test, order: int) -> tuple[Any, ...]:
    row = test.row
    return (
        visit_id,
        test.key,
        test.burner.pk,
        row.firing_point,
        row.phase,
        order if row.sequence is None else row.sequence,
        row.observed_at,
        FiringTest.Settled.STATED.value,
        row.fuel,
        row.co2_source or FiringTest.Source.DERIVED.value,
        row.moved_before,
        *(row[place] for place in _MEASURED_PLACES),
    )


def _adjustments(visit_id: int, tests: Sequence[_Test]) -> Iterator[tuple[Any, ...]]:
    """One adjustment for each burner and trim that as-left rows name, with the tests it stands between."""
    moved = dict.fromkeys((test.burner, trim) for test in tests for trim in test.row.trims)
    for burner, trim in moved:
        own = [test for test in tests if test.burner == burner]
        at_point = [test for test in own if test.row.firing_point == _READ_AT[TrimKind(trim)]]
        before = [test for test in at_point if test.row.phase == Phase.AS_FOUND][-1:]
        after = [test for test in at_point if test.row.phase == Phase.AS_LEFT][-1:]
        turns = [test.row.turns for test in own if test.row.trims == (trim,) and test.row.turns is not None]
        yield (
            visit_id,
            f"{trim}-{burner.position}",
            burner.pk,
            trim,
            turns[0] if turns else None,
            before[0].key if before else "",
            after[0].key if after else "",
            before[0].row.co2_pct if before else None,
            after[0].row.co2_pct if after else None,
        )


def _parts(tests: Sequence[_Test]) -> list[PartFitted]:
    """Each part once a visit and burner, at the time of the first row that names it."""
    named: dict[tuple[int, str], PartFitted] = {}
    for test in tests:
        part = test.row.part_fitted
        if part and (test.burner.pk, part) not in named:
            named[test.burner.pk, part] = PartFitted(
                burner=test.burner, part=part, fitted_at=test.row.observed_at, visit_uuid=test.row.visit
            )
    return list(named.values())
