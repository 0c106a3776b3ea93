"""Where a save looks up what bears on its visit: one question at a time, or read once for many visits.

A `Shelf` answers the same questions either way, so that one visit and a batch are judged by the same code.
"""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from django.db import models

from combustion.fuels import Fuel
from common.prepared import Bind, Prepared
from fleet.items import ItemBook, item_book_of
from fleet.models import FiringSpec, ModelTrim, ServiceItem
from fleet.selectors import gases_of_site, limit_book
from people.models import Licence, User
from visits.judging.case import Limits
from visits.models import Attendance, Visit
from visits.saving.references import Instrument, Place, attendance_find, instrument_find, place_find


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
        """As `instrument_find`."""

    def attendance(
        self, *, place: Place, user: User, on: date, named: uuid.UUID | None
    ) -> tuple[Attendance | None, bool]:
        """As `attendance_find`."""

    def opened(self, attendance: Attendance) -> None:
        """Told of an attendance that a draft opens, so that the next draft of that day finds it."""

    def bearing(self, visit: Visit, place: Place) -> Bearing:
        """What the visit is judged by."""


_specs = Prepared(lambda: FiringSpec.objects.filter(model=Bind("model", models.BigIntegerField())))
_trims = Prepared(
    lambda: ModelTrim.objects.select_related("sensitivity").filter(
        model=Bind("model", models.BigIntegerField())
    )
)
_licences = Prepared(
    lambda: Licence.objects.filter(technician__user=Bind("person", models.BigIntegerField()))
)


class OneByOne:
    """Each question is one prepared query: right for a single visit."""

    def place(self, *, appliance: str, attendance: uuid.UUID | None = None) -> Place:
        return place_find(appliance=appliance, attendance=attendance)

    def instrument(self, *, name: str | None, text: str | None, on: date) -> Instrument:
        return instrument_find(name=name, text=text, on=on)

    def attendance(
        self, *, place: Place, user: User, on: date, named: uuid.UUID | None
    ) -> tuple[Attendance | None, bool]:
        return attendance_find(place=place, user=user, on=on, named=named)

    def opened(self, attendance: Attendance) -> None:
        """Nobody asks again."""

    def bearing(self, visit: Visit, place: Place) -> Bearing:
        site = place.appliance.plant.site
        return Bearing(
            specs=_specs(model=place.appliance.model_id),
            trims={trim.kind: trim for trim in _trims(model=place.appliance.model_id)},
            limits=limit_book().in_force(site.customer.country, site.customer_id, visit.local_on),
            licences=_licences(person=visit.technician_id),
            gases=gases_of_site(site).in_force(site, visit.local_on) if place.gas_reported else {},
            items=items_of(item_book_of(place.items_changed_at), visit, place),
        )


ONE_BY_ONE = OneByOne()
