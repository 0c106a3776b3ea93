"""Where a save looks up what bears on its visit: for one visit, or read once for many.

A `Shelf` answers the same questions either way, so that one visit and a batch are judged by the same code.
"""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any, Protocol

from django.db import models

from combustion.fuels import Fuel
from common.gathered import Gathered
from common.prepared import Bind, Prepared
from fleet.items import ItemBook, item_book_of
from fleet.models import FiringSpec, ModelTrim, ServiceItem
from fleet.selectors import LIMITS, LimitBook, gases_of_site
from people.models import Licence, User
from visits.judging.case import Limits
from visits.models import Attendance, Visit
from visits.payload import VisitIn
from visits.saving.references import (
    ANALYSER_BY_NAME,
    ANALYSER_BY_UUID,
    ATTENDANCES,
    Instrument,
    Place,
    as_uuid,
    attendance_chosen,
    instrument_of,
    place_find,
)


@dataclass(frozen=True)
class Bearing:
    """What a visit is judged by: the model's specs and trims (kind to trim, what a turn does joined), the
    limits of the day, licences, supplied gases, the items it is asked by code."""

    specs: Sequence[FiringSpec]
    trims: Mapping[str, ModelTrim]
    limits: Limits
    licences: Sequence[Licence]
    gases: Mapping[str, Fuel]
    items: Mapping[str, ServiceItem]


def items_of(book: ItemBook, visit: Visit, place: Place) -> Mapping[str, ServiceItem]:
    """What the visit is asked, by code."""
    country = place.appliance.plant.site.customer.country
    return book.asked(place.appliance, country, visit.kind, visit.local_on, visit.fuel)


class Shelf(Protocol):
    """The look-ups of a save. Raises Problem where the visit cannot be stored for want of one."""

    def place(self, *, appliance: str, attendance: uuid.UUID | None = None) -> Place:
        """As `place_find`."""

    def instrument(self, *, name: str | None, text: str | None, on: date) -> Instrument:
        """As `instrument_of`."""

    def attendance(
        self, *, place: Place, user: User, on: date, named: uuid.UUID | None
    ) -> tuple[Attendance | None, bool]:
        """As `attendance_chosen`."""

    def opened(self, attendance: Attendance) -> None:
        """Told of an attendance that a draft opens, so that the next draft of that day finds it."""

    def bearing(self, visit: Visit, place: Place) -> Bearing:
        """What the visit is judged by."""


_BEARING: dict[str, Prepared[Any]] = {
    "specs": Prepared(lambda: FiringSpec.objects.filter(model=Bind("model", models.BigIntegerField()))),
    "trims": Prepared(
        lambda: ModelTrim.objects.select_related("sensitivity").filter(
            model=Bind("model", models.BigIntegerField())
        )
    ),
    "limits": LIMITS,
    "licences": Prepared(
        lambda: Licence.objects.filter(technician__user=Bind("technician", models.BigIntegerField()))
    ),
}
_ANALYSER = {"none": {}, "uuid": ANALYSER_BY_UUID, "name": ANALYSER_BY_NAME}


@cache
def _questions(analyser: str, opens: bool) -> Gathered:
    """By how the analyser is named, and whether the visit is still to join an attendance."""
    attendances = {"attendances": ATTENDANCES} if opens else {}
    return Gathered(**_BEARING, **_ANALYSER[analyser], **attendances)


class OneVisit:
    """For one visit: where it was is asked first, then at once all that bears on it.

    technician: the person whose licences count, and whose attendance it joins where it `opens` a visit.
    """

    def __init__(self, body: VisitIn, technician: int | None, *, opens: bool) -> None:
        self._body = body
        self._technician = technician
        self._opens = opens
        self._found: dict[str, list[Any]] = {}

    def place(self, *, appliance: str, attendance: uuid.UUID | None = None) -> Place:
        """As `place_find`. Two queries, with all that the other questions need."""
        place = place_find(appliance=appliance, attendance=attendance)
        self._found = self._ask(place)
        return place

    def _ask(self, place: Place) -> dict[str, list[Any]]:
        name = self._body.analyser
        as_id = as_uuid(name) if name is not None else None
        by = "none" if name is None else "name" if as_id is None else "uuid"
        return _questions(by, self._opens)(
            model=place.appliance.model_id,
            plant=place.appliance.plant_id,
            technician=self._technician,
            on=place.local_day(self._body.opened_at),
            named=self._body.attendance,
            analyser=as_id,
            name=name,
        )

    def instrument(self, *, name: str | None, text: str | None, on: date) -> Instrument:
        """As `instrument_of`."""
        periods, channels = self._found.get("periods", ()), self._found.get("channels", ())
        return instrument_of(name=name, text=text, periods=periods, channels=channels)

    def attendance(
        self, *, place: Place, user: User, on: date, named: uuid.UUID | None
    ) -> tuple[Attendance | None, bool]:
        """As `attendance_chosen`."""
        return attendance_chosen(self._found["attendances"], place.appliance.plant_id, named)

    def opened(self, attendance: Attendance) -> None:
        """Nobody asks again."""

    def bearing(self, visit: Visit, place: Place) -> Bearing:
        """What the visit is judged by."""
        site, found = place.appliance.plant.site, self._found
        limits = LimitBook(tuple(found["limits"]))
        return Bearing(
            specs=found["specs"],
            trims={trim.kind: trim for trim in found["trims"]},
            limits=limits.in_force(site.customer.country, site.customer_id, visit.local_on),
            licences=self._licences_of(visit),
            gases=gases_of_site(site).in_force(site, visit.local_on) if place.gas_reported else {},
            items=items_of(item_book_of(place.items_changed_at), visit, place),
        )

    def _licences_of(self, visit: Visit) -> Sequence[Licence]:
        """The attendance that the visit joined may be another technician's."""
        if visit.technician_id == self._technician:
            return self._found["licences"]
        return list(Licence.objects.filter(technician__user=visit.technician_id))
