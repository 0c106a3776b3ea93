"""The second pass: judges and stores the visits of one chunk."""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from uuid import UUID

from common.aside import writing_aside
from common.grouping import in_chunks
from fleet.models import PartFitted
from visits.history.cases import AttendanceKey, VisitRows, cases_build, seen_of
from visits.history.places import Places
from visits.history.tables import Results, visits_write
from visits.judging.case import Case, Judgement
from visits.models import Attendance, Visit

Judge = Callable[[Sequence[Case]], tuple[list[Judgement], Results]]
"""The engine, as `judge_plainly`."""


VISITS_AT_ONCE = 500
"""Judged while those before them are written."""


def already_stored(uuids: Sequence[UUID]) -> set[UUID]:
    """Those of the visits that are on file, from whatever source. One query."""
    return set(Visit.objects.filter(uuid__in=uuids).values_list("uuid", flat=True))


def visits_store(
    visits: Sequence[VisitRows], *, places: Places, now: datetime, judge: Judge, judged: Callable[[], None]
) -> None:
    """Judge visits that are not on file and store them, some after some. The caller holds the transaction.

    judged: called when all are judged and the last are still being written.
    """
    seen = [seen_of(rows, places) for rows in visits]
    cases = cases_build(seen, places, _attendances([visit.attendance for visit in seen]), now)
    with writing_aside() as aside:
        for some in in_chunks(cases, VISITS_AT_ONCE):
            aside(visits_write, some, *judge(some), now)
        judged()
    PartFitted.objects.bulk_create(
        (part for rows in visits for part in _parts(rows, places)), ignore_conflicts=True
    )


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


def _parts(rows: VisitRows, places: Places) -> Iterable[PartFitted]:
    """Each part once a visit and burner, at the time of the first row that names it."""
    named: dict[tuple[int, str], PartFitted] = {}
    for row in rows:
        if not row.part_fitted:
            continue
        burner = places.burners[row[:5]]
        if (burner.pk, row.part_fitted) not in named:
            named[burner.pk, row.part_fitted] = PartFitted(
                burner=burner, part=row.part_fitted, fitted_at=row.observed_at, visit_uuid=row.visit
            )
    return named.values()
