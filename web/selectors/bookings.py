"""What is booked, day by day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.db.models import Count, Q

from people.models import User
from visits.models import Attendance
from web.paging import page_by_day

DAYS = 14


@dataclass(frozen=True)
class BookedDay:
    """One day's attendances, technician by technician, in their order."""

    on: date
    rows: Sequence[Attendance]


def booked_days(
    *, user: User, first: date, technician: int | None, after: str, size: int
) -> tuple[list[BookedDay], str]:
    """Two weeks from a day, in pages; each attendance with its appliances in use and its visits counted."""
    rows = (
        Attendance.objects.visible_to(user)
        .standing()
        .filter(local_on__gte=first, local_on__lt=first + timedelta(days=DAYS))
        .select_related("plant__site__customer", "technician")
        .annotate(
            appliances=Count(
                "plant__appliances", filter=Q(plant__appliances__retired_on__isnull=True), distinct=True
            ),
            opened=Count("visits", distinct=True),
        )
    )
    if technician is not None:
        rows = rows.filter(technician=technician)
    page = page_by_day(rows, "local_on", after, size)
    days = groupby(page.rows, key=lambda row: row.local_on)
    return [BookedDay(on, sorted(found, key=_order)) for on, found in days], page.after


def _order(row: Attendance) -> tuple[str, int, int]:
    return str(row.technician or ""), row.position, row.pk
