"""What is booked, day by day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.db.models import Count, F, Q

from people.models import User
from visits.models import Attendance

DAYS = 14


@dataclass(frozen=True)
class BookedDay:
    """One day's attendances, technician by technician, in their order."""

    on: date
    rows: Sequence[Attendance]


def booked_days(*, user: User, first: date, technician: int | None) -> list[BookedDay]:
    """Two weeks from a day, each attendance with its appliances in use and its visits counted."""
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
        .order_by("local_on", F("technician_id").asc(nulls_first=True), "position", "pk")
    )
    if technician is not None:
        rows = rows.filter(technician=technician)
    return [BookedDay(on, list(found)) for on, found in groupby(rows, key=lambda row: row.local_on)]
