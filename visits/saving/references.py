"""What a body refers to: the appliance with its burners, the analyser with its period, the attendance."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import models
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery

from common.prepared import Bind, Prepared
from common.problems import Problem, field_error
from fleet.items import newest_change
from fleet.models import (
    Analyser,
    AnalyserChannel,
    AnalyserPeriod,
    Appliance,
    Burner,
    SuppliedGas,
)
from visits.models import Attendance
from visits.payload import VisitIn


@dataclass(frozen=True)
class Place:
    """An appliance with model, plant, site and customer joined; its burners in order.

    Where one place alone was looked up: whether a supplier ever reported its gas, which is then worth a
    query, and when the lists of items were last changed.
    """

    appliance: Appliance
    burners: tuple[Burner, ...]
    gas_reported: bool = False
    items_changed_at: datetime | None = None

    def local_day(self, at: datetime) -> date:
        """The day of a moment at the site."""
        return at.astimezone(self.appliance.plant.site.zone).date()

    def burner(self, reference: uuid.UUID | int | None) -> Burner | None:
        """The burner that a row names by UUID or position; the first where it names none."""
        if reference is None:
            return self.burners[0]
        return next((b for b in self.burners if reference in (b.uuid, b.position)), None)


@dataclass(frozen=True)
class Instrument:
    """The analyser, the period the day falls in, and its channels; all empty where it is not on file."""

    analyser: Analyser | None = None
    period: AnalyserPeriod | None = None
    channels: dict[str, AnalyserChannel] = field(default_factory=dict)
    text: str = ""


def as_uuid(text: str) -> uuid.UUID | None:
    """The UUID that the text is, if it is one."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


def _burners() -> QuerySet[Burner]:
    return (
        Burner.objects.select_related("appliance__model__maker", "appliance__plant__site__customer")
        .annotate(
            items_changed_at=Subquery(newest_change()),
            gas_reported=Exists(
                SuppliedGas.objects.filter(
                    Q(site=OuterRef("appliance__plant__site"))
                    | Q(gas_area=OuterRef("appliance__plant__site__gas_area"))
                )
            ),
        )
        .order_by("appliance_id", "position")
    )


def _named(path: str = "") -> Q:
    text = Bind("name", models.CharField())
    return Q(**{f"{path}tag": text}) | Q(**{f"{path}serial": text})


_burners_by_uuid = Prepared(lambda: _burners().filter(appliance__uuid=Bind("uuid", models.UUIDField())))
_burners_by_name = Prepared(lambda: _burners().filter(_named("appliance__"))[:200])
_burners_by_name_at = Prepared(
    lambda: _burners().filter(
        _named("appliance__"), appliance__plant__attendances__uuid=Bind("attendance", models.UUIDField())
    )
)


def place_find(*, appliance: str, attendance: uuid.UUID | None = None) -> Place:
    """The appliance by UUID, or by tag or serial: of the attendance's plant where several share it.

    Raises Problem `unknown_appliance`, or `ambiguous_appliance` where a tag or serial names several. One
    query, two where it is ambiguous.
    """
    as_id = as_uuid(appliance)
    burners = _burners_by_uuid(uuid=as_id) if as_id else _burners_by_name(name=appliance)
    if len({burner.appliance_id for burner in burners}) > 1 and attendance is not None:
        burners = _burners_by_name_at(name=appliance, attendance=attendance) or burners
    if len({burner.appliance_id for burner in burners}) > 1:
        raise ambiguous_appliance(appliance)
    if not burners:
        raise unknown_appliance(appliance)
    gas_reported = bool(getattr(burners[0], "gas_reported"))  # noqa: B009 - an annotation, unknown to types
    changed_at = getattr(burners[0], "items_changed_at")  # noqa: B009 - likewise
    return Place(burners[0].appliance, tuple(burners), gas_reported, changed_at)


def ambiguous_appliance(name: str) -> Problem:
    """Problem of a tag or serial that names several appliances."""
    return _refused("ambiguous_appliance", name, "Several appliances have this tag or serial; send the UUID.")


def unknown_appliance(name: str) -> Problem:
    """Problem of a name that no appliance has."""
    return _refused("unknown_appliance", name, "No appliance has this UUID, tag or serial.")


def _refused(code: str, value: str, detail: str) -> Problem:
    error = field_error("/appliance", code, detail, value=value, limit="an appliance on file")
    return Problem(code, detail, errors=[error])


def _periods() -> QuerySet[AnalyserPeriod]:
    in_force = Q(starts_on__isnull=True) | Q(starts_on__lte=Bind("on", models.DateField()))
    return (
        AnalyserPeriod.objects.select_related("analyser")
        .filter(in_force)
        .order_by(F("starts_on").desc(nulls_last=True))
    )


ANALYSER_BY_UUID: dict[str, Prepared[Any]] = {
    "periods": Prepared(lambda: _periods().filter(analyser__uuid=Bind("analyser", models.UUIDField()))[:1]),
    "channels": Prepared(
        lambda: AnalyserChannel.objects.filter(analyser__uuid=Bind("analyser", models.UUIDField()))
    ),
}
ANALYSER_BY_NAME: dict[str, Prepared[Any]] = {
    "periods": Prepared(lambda: _periods().filter(_named("analyser__"))[:1]),
    "channels": Prepared(lambda: AnalyserChannel.objects.filter(_named("analyser__"))),
}
"""The period in force on a day, and the channels of all analysers of that name."""


def instrument_of(
    *,
    name: str | None,
    text: str | None,
    periods: Sequence[AnalyserPeriod],
    channels: Sequence[AnalyserChannel],
) -> Instrument:
    """The analyser of that name, the period in force and its channels. A query where there is no period.

    An analyser that is not on file is not refused: its name is kept as text, and the judging says so.
    """
    if name is None:
        return Instrument(text=text or "")
    period = periods[0] if periods else None
    analyser = period.analyser if period else _analyser_without_period(name)
    if analyser is None:
        return Instrument(text=text or name)
    own = {row.quantity: row for row in channels if row.analyser_id == analyser.pk}
    return Instrument(analyser, period, own, text or "")


def _analyser_without_period(name: str) -> Analyser | None:
    as_id = as_uuid(name)
    match = Q(uuid=as_id) if as_id else Q(tag=name) | Q(serial=name)
    return Analyser.objects.filter(match).order_by("id").first()


def burners_unknown(body: VisitIn, place: Place) -> None:
    """Raises Problem `unknown_burner` for the rows that name a burner which this appliance does not have."""
    errors = [
        field_error(
            f"/{rows}/{index}/burner",
            "unknown_burner",
            "This appliance has no such burner.",
            value=str(row.burner),
            limit=f"1 to {len(place.burners)}, or the UUID of one of them",
        )
        for rows in ("tests", "adjustments", "parts")
        for index, row in enumerate(getattr(body, rows))
        if place.burner(row.burner) is None
    ]
    if errors:
        raise Problem(
            "unknown_burner", "A row names a burner that this appliance does not have.", errors=errors
        )


ATTENDANCES = Prepared(
    lambda: Attendance.objects.select_related("technician").filter(
        Q(uuid=Bind("named", models.UUIDField()))
        | Q(
            plant=Bind("plant", models.BigIntegerField()),
            technician=Bind("technician", models.BigIntegerField()),
            local_on=Bind("on", models.DateField()),
            cancelled_at__isnull=True,
        )
    )
)
"""The attendance with a UUID, and the person's at the plant that day."""


def attendance_chosen(
    found: Sequence[Attendance], plant: int, named: uuid.UUID | None
) -> tuple[Attendance | None, bool]:
    """The one with this UUID at this plant, else the person's; and whether the UUID is still free."""
    by_name = next((row for row in found if row.uuid == named), None)
    if by_name is not None and by_name.plant_id == plant:
        return by_name, False
    return next((row for row in found if row.uuid != named), None), by_name is None
