"""A shelf that reads what bears on many visits once: a fixed number of queries however many they are."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, date, timedelta
from typing import Any

from django.db.models import Q, QuerySet

from common.grouping import grouped
from fleet.items import item_book
from fleet.models import Analyser, AnalyserPeriod, Burner
from people.models import Licence, User
from visits.judging.grounds import Grounds
from visits.models import Attendance, Visit
from visits.payload import VisitIn
from visits.saving.references import (
    Instrument,
    Place,
    ambiguous_appliance,
    as_uuid,
    attendance_chosen,
    unknown_appliance,
)
from visits.saving.shelf import Bearing, items_of

_DAY = timedelta(days=1)


class ReadOnce:
    """Everything that these bodies name, for one sender.

    Read: burners with their appliances and places; trims; specs; analysers, their periods and channels;
    attendances; licences; limits; supplied gases; lists of items.
    """

    def __init__(self, bodies: Sequence[VisitIn], user: User) -> None:
        self._burners = _burners_of({body.appliance for body in bodies})
        burners = [burner for own in self._burners.values() for burner in own]
        analysers = self._read_analysers({body.analyser for body in bodies if body.analyser is not None})
        self._attendances = _attendances_of(bodies, {burner.appliance.plant_id for burner in burners}, user)
        self._licences = grouped(
            Licence.objects.filter(
                technician__user__in={user.pk, *(row.technician_id for row in self._attendances)}
            ).select_related("technician"),
            "technician.user_id",
        )
        self._item_book = item_book()
        self._grounds = Grounds({burner.appliance for burner in burners}, {row.pk for row in analysers})

    def place(self, *, appliance: str, attendance: uuid.UUID | None = None) -> Place:
        """As `place_find`."""
        burners = self._burners.get(appliance, ())
        if len({burner.appliance_id for burner in burners}) > 1 and attendance is not None:
            plants = {row.plant_id for row in self._attendances if row.uuid == attendance}
            burners = [row for row in burners if row.appliance.plant_id in plants] or burners
        if len({burner.appliance_id for burner in burners}) > 1:
            raise ambiguous_appliance(appliance)
        if not burners:
            raise unknown_appliance(appliance)
        return Place(burners[0].appliance, tuple(burners))

    def instrument(self, *, name: str | None, text: str | None, on: date) -> Instrument:
        """As `instrument_of`."""
        if name is None:
            return Instrument(text=text or "")
        periods = [row for row in self._periods_of(name) if row.starts_on is None or row.starts_on <= on]
        period = max(periods, key=lambda row: row.starts_on or date.min, default=None)
        analyser = period.analyser if period else next(iter(self._analysers_of(name)), None)
        if analyser is None:
            return Instrument(text=text or name)
        return Instrument(analyser, period, self._grounds.channels_of(analyser.pk), text or "")

    def attendance(
        self, *, place: Place, user: User, on: date, named: uuid.UUID | None
    ) -> tuple[Attendance | None, bool]:
        """As `attendance_chosen`."""
        plant = place.appliance.plant_id
        found = [
            row
            for row in self._attendances
            if row.uuid == named
            or (
                (row.plant_id, row.technician_id, row.local_on) == (plant, user.pk, on)
                and row.cancelled_at is None
            )
        ]
        return attendance_chosen(found, plant, named)

    def opened(self, attendance: Attendance) -> None:
        """Kept, so that the next visit of that day at that plant shares it."""
        self._attendances.append(attendance)

    def bearing(self, visit: Visit, place: Place) -> Bearing:
        """What the visit is judged by."""
        return Bearing(
            **self._grounds.of(place.appliance, visit.local_on),
            licences=self._licences[visit.technician_id],
            items=items_of(self._item_book, visit, place),
        )

    def _read_analysers(self, names: set[str]) -> list[Analyser]:
        """Those so named, kept by name with their periods."""
        analysers = list(Analyser.objects.filter(_named(names)).order_by("id")) if names else []
        self._by_name: dict[str, list[Analyser]] = {
            name: [row for row in analysers if _is_called(row, name)] for name in names
        }
        self._periods = grouped(
            AnalyserPeriod.objects.filter(analyser__in=analysers).select_related("analyser"), "analyser_id"
        )
        return analysers

    def _analysers_of(self, name: str) -> list[Analyser]:
        return self._by_name.get(name, [])

    def _periods_of(self, name: str) -> Iterable[AnalyserPeriod]:
        return (period for row in self._analysers_of(name) for period in self._periods[row.pk])


def _named(names: Iterable[str], path: str = "") -> Q:
    """Rows with one of these UUIDs, or one of these tags or serials."""
    uuids = {name: as_uuid(name) for name in names}
    texts = [name for name, value in uuids.items() if value is None]
    return (
        Q(**{f"{path}uuid__in": [value for value in uuids.values() if value is not None]})
        | Q(**{f"{path}tag__in": texts})
        | Q(**{f"{path}serial__in": texts})
    )


def _is_called(row: Any, name: str) -> bool:
    as_id = as_uuid(name)
    return bool(row.uuid == as_id) if as_id else name in (row.tag, row.serial)


def _burners_of(names: set[str]) -> dict[str, Sequence[Burner]]:
    """By name: the burners of the appliances that it names, in order; appliances are shared."""
    rows: QuerySet[Burner] = (
        Burner.objects.select_related("appliance__model__maker", "appliance__plant__site__customer")
        .filter(_named(names, "appliance__"))
        .order_by("appliance_id", "position")
    )
    burners = list(rows)
    shared = {row.appliance_id: row.appliance for row in burners}
    by_uuid, by_text = defaultdict(list), defaultdict(list)
    for row in burners:
        row.appliance = shared[row.appliance_id]
        by_uuid[row.appliance.uuid].append(row)
        for text in {row.appliance.tag, row.appliance.serial} - {""}:
            by_text[text].append(row)
    return {name: by_uuid[as_id] if (as_id := as_uuid(name)) else by_text[name] for name in names}


def _attendances_of(bodies: Iterable[VisitIn], plants: set[int], user: User) -> list[Attendance]:
    """Those that are named, and the person's at these plants around these days."""
    named = {body.attendance for body in bodies if body.attendance is not None}
    # The local day is at most one away from the day in UTC.
    days = {
        body.opened_at.astimezone(UTC).date() + step for body in bodies for step in (-_DAY, 0 * _DAY, _DAY)
    }
    rows = Attendance.objects.select_related("technician").filter(
        Q(uuid__in=named) | Q(plant__in=plants, technician=user, local_on__in=days, cancelled_at__isnull=True)
    )
    return list(rows)
