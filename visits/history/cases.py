"""The visits of a chunk as the engine judges them: rows built from what was read, none of them stored yet."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice

from common.bulk import keys_reserve
from common.unsaved import unsaved
from fleet.models import Point, TrimKind
from visits.history.cells import zone_of
from visits.history.columns import Row
from visits.history.places import Places
from visits.judging.case import Case
from visits.judging.grounds import Grounds
from visits.models import Adjustment, FiringTest, Outcome, Phase, Visit

VisitRows = Sequence[Row]
AttendanceKey = tuple[int, int | None, date]
"""Plant, technician and local day."""

MEASURED = (
    "co2_pct", "o2_pct", "co_ppm", "flue_temp_c", "air_temp_c", "inlet_pressure_mbar", "fan_rpm"
)  # fmt: skip
_MEASURED_FROM = Row._fields.index(MEASURED[0])
_MEASURED_TO = _MEASURED_FROM + len(MEASURED)

_TEST_FIELDS = (
    "id", "visit_id", "key", "point", "phase", "sequence", "observed_at", "fuel", "co2_source",
    "moved_before", *MEASURED,
)  # fmt: skip
_DERIVED = FiringTest.Source.DERIVED.value

# The throttle is set at high fire, the offset at low fire: there its effect is read.
_READ_AT = {TrimKind.THROTTLE: Point.HIGH, TrimKind.OFFSET: Point.LOW}


@dataclass(frozen=True, slots=True)
class Seen:
    """A visit's rows, when it began and ended, and the attendance it belongs to."""

    rows: VisitRows
    opened_at: datetime
    closed_at: datetime
    attendance: AttendanceKey


@dataclass(frozen=True, slots=True)
class _Keys:
    """Of a visit, its tests in the order of its rows, and its attendance."""

    visit: int
    tests: Sequence[int]
    attendance: int


@dataclass(frozen=True, slots=True)
class _Test:
    """A firing test with the row it comes from."""

    test: FiringTest
    row: Row


def seen_of(rows: VisitRows, places: Places) -> Seen:
    """The visit as its rows show it."""
    first = rows[0]
    times = [row.observed_at for row in rows]
    opened_at = min(times)
    local_on = opened_at.astimezone(zone_of(places.sites[first[:2]].time_zone)).date()
    plant_id = places.plants[first[:3]].pk
    return Seen(rows, opened_at, max(times), (plant_id, places.technicians.get(first.technician), local_on))


def cases_build(
    visits: Sequence[Seen], places: Places, attendances: Mapping[AttendanceKey, int], now: datetime
) -> Iterator[Case]:
    """The visits as cases, in their order; they and their tests have the keys they will be stored under.

    What they rest on is looked up at once; the cases are built one by one as they are asked for, without a
    query.
    """
    grounds = Grounds(places.appliances.values(), {row.pk for row in places.analysers.values()})
    test_keys = iter(keys_reserve(FiringTest, sum(len(seen.rows) for seen in visits)))
    keys = [
        _Keys(key, list(islice(test_keys, len(seen.rows))), attendances[seen.attendance])
        for seen, key in zip(visits, keys_reserve(Visit, len(visits)), strict=True)
    ]
    return (_case(seen, own, places, grounds, now) for seen, own in zip(visits, keys, strict=True))


def _case(seen: Seen, keys: _Keys, places: Places, grounds: Grounds, now: datetime) -> Case:
    first = seen.rows[0]
    appliance = places.appliances[first[:4]]
    analyser = places.analysers.get(first.analyser)
    period = places.periods.get((first.analyser, first.calibrated_on))
    _, technician_id, local_on = seen.attendance
    visit = unsaved(
        _VISIT,
        {"appliance": appliance, "analyser": analyser, "analyser_period": period},
        {
            "id": keys.visit,
            "uuid": first.visit,
            "attendance_id": keys.attendance,
            "kind": first.kind,
            "technician_id": technician_id,
            "fuel": first.fuel,
            "opened_at": seen.opened_at,
            "closed_at": seen.closed_at,
            "local_on": local_on,
            "received_at": now,
            "closed_received_at": now,
        },
    )
    tests = _tests(seen.rows, keys, places)
    return Case(
        visit=visit,
        appliance=appliance,
        burner_ids=[burner.pk for burner in places.burners_of[appliance.pk]],
        tests=[each.test for each in sorted(tests, key=lambda each: each.test.sequence)],
        adjustments=list(_adjustments(tests, keys)),
        changes=(),
        period=period,
        licence_gap=None,
        parts=[row.part_fitted for row in seen.rows if row.part_fitted],
        channels=grounds.channels_of(analyser.pk if analyser else None),
        **grounds.of(appliance, local_on),
    )


def _tests(rows: VisitRows, keys: _Keys, places: Places) -> list[_Test]:
    """The visit's tests in file order, keyed like `as_found-high-1`."""
    met: dict[str, int] = {}
    tests = []
    for order, (row, key) in enumerate(zip(rows, keys.tests, strict=True), start=1):
        kind = f"{row.phase}-{row.firing_point}"
        met[kind] = met.get(kind, 0) + 1
        burner = places.burners[row[:5]]
        values = (
            key,
            keys.visit,
            f"{kind}-{met[kind]}",
            row.firing_point,
            row.phase,
            order if row.sequence is None else row.sequence,
            row.observed_at,
            row.fuel,
            row.co2_source or _DERIVED,
            row.moved_before,
            *row[_MEASURED_FROM:_MEASURED_TO],
        )
        test = unsaved(_TEST, {"burner": burner}, zip(_TEST_FIELDS, values, strict=True))
        tests.append(_Test(test, row))
    return tests


def _adjustments(tests: Sequence[_Test], keys: _Keys) -> Iterator[Adjustment]:
    """One adjustment for each burner and trim that as-left rows name, with the tests it stands between."""
    moved = dict.fromkeys((each.test.burner_id, trim) for each in tests for trim in each.row.trims)
    for burner_id, trim in moved:
        own = [each for each in tests if each.test.burner_id == burner_id]
        burner = own[0].test.burner
        at_point = [each.test for each in own if each.test.point == _READ_AT[TrimKind(trim)]]
        before = [test for test in at_point if test.phase == Phase.AS_FOUND][-1:]
        after = [test for test in at_point if test.phase == Phase.AS_LEFT][-1:]
        turns = [each.row.turns for each in own if each.row.trims == (trim,) and each.row.turns is not None]
        yield unsaved(
            _ADJUSTMENT,
            {"burner": burner},
            {
                "visit_id": keys.visit,
                "key": f"{trim}-{burner.position}",
                "trim": trim,
                "turns": turns[0] if turns else None,
                "before_test": before[0].key if before else "",
                "after_test": after[0].key if after else "",
                "before_co2_pct": before[0].co2_pct if before else None,
                "after_co2_pct": after[0].co2_pct if after else None,
            },
        )


_VISIT = Visit(source=Visit.Source.IMPORT.value, outcome=Outcome.COMPLETED.value)
_TEST = FiringTest(settled=FiringTest.Settled.STATED.value)
_ADJUSTMENT = Adjustment()
