"""Booking an attendance: a technician, a plant, a day. What the licence does not cover is refused here."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from common.audit import audit
from common.problems import Problem, field_error
from fleet.models import Appliance, Plant
from people.models import Licence, Technician, User
from people.permissions import sees_everything
from people.selectors import licence_gap
from visits.models import Attendance

GAP_WORDS = {
    "licence_unknown": "no licence on file",
    "licence_lapsed": "no licence in force that day",
    "licence_scope": "no licence for this work, fuel or input",
}


@dataclass(frozen=True)
class Gap:
    """An appliance that the technician's licences do not cover that day, and why as a code."""

    appliance: Appliance
    code: str

    @property
    def words(self) -> str:
        """The reason in words."""
        return GAP_WORDS[self.code]


def licence_gaps(*, technician: User, plant: Plant, on: date, commissioning: bool = False) -> list[Gap]:
    """The appliances in use at a plant that this technician may not attend to on a day. Two queries."""
    licences = list(Licence.objects.filter(technician__user=technician))
    gaps = []
    for appliance in Appliance.objects.in_use().filter(plant=plant):
        code = licence_gap(
            licences,
            on=on,
            commissioning=commissioning,
            fuel=appliance.fuel,
            input_gross_kw=appliance.input_gross_kw,
        )
        if code is not None:
            gaps.append(Gap(appliance, code))
    return gaps


def attendance_book(
    *,
    by: User,
    plant: Plant,
    technician: User,
    on: date,
    start: time | None = None,
    notes: str = "",
    commissioning: bool = False,
) -> Attendance:
    """Book a technician for a plant on a local day, last in that day's order.

    on, start: the calendar and clock at the site. Raises Problem `not_covered` (with every appliance and its
    reason), `away`, `in_the_past` or `booked_already`; then nothing is written.
    """
    if not sees_everything(by):
        raise PermissionDenied
    _refuse_unless_free(technician, plant, on)
    gaps = licence_gaps(technician=technician, plant=plant, on=on, commissioning=commissioning)
    if gaps:
        raise _not_covered(technician, gaps)
    try:
        with transaction.atomic():
            return _book(by, plant, technician, on, start, notes)
    except IntegrityError as error:
        raise _refused(
            "on", "booked_already", f"{technician} is already booked there on {on:%d %b %Y}.", on
        ) from error


@transaction.atomic
def attendance_cancel(*, by: User, attendance: Attendance) -> None:
    """Take back a booking. One at which a visit was opened stays: it has happened."""
    if not sees_everything(by):
        raise PermissionDenied
    if attendance.visits.exists():
        raise Problem("has_visits", "A visit was opened at this attendance, so it stays.", status=409)
    done = Attendance.objects.filter(pk=attendance.pk, cancelled_at__isnull=True).update(
        cancelled_at=timezone.now()
    )
    if done != 1:
        raise Problem("cancelled_already", "This booking was cancelled already.", status=409)
    audit(by=by, verb="cancelled", subject=attendance)


def _book(by: User, plant: Plant, technician: User, on: date, start: time | None, notes: str) -> Attendance:
    day = Attendance.objects.standing().filter(technician=technician, local_on=on)
    last = day.aggregate(last=Max("position"))["last"]
    attendance = Attendance(
        plant=plant,
        technician=technician,
        local_on=on,
        planned_start_at=datetime.combine(on, start, plant.site.zone) if start else None,
        position=0 if last is None else last + 1,
        access_notes=notes,
        booked_by=by,
    )
    attendance.full_clean(validate_constraints=False)
    attendance.save()
    audit(by=by, verb="booked", subject=attendance, technician=technician.pk, on=on.isoformat())
    return attendance


def _refuse_unless_free(technician: User, plant: Plant, on: date) -> None:
    today = timezone.localdate(timezone=plant.site.zone)
    if on < today:
        raise _refused("on", "in_the_past", f"{on:%d %b %Y} has passed at the site; book from today on.", on)
    away = Technician.objects.filter(user=technician, away_from__lte=on, away_until__gte=on).first()
    if away is not None:
        raise _refused(
            "technician",
            "away",
            f"{technician} is away from {away.away_from:%d %b} to {away.away_until:%d %b %Y}.",
            str(technician),
        )


def _not_covered(technician: User, gaps: Sequence[Gap]) -> Problem:
    detail = "; ".join(f"{gap.appliance.tag}: {gap.words}" for gap in gaps)
    return _refused("technician", "not_covered", f"{technician} cannot be booked. {detail}.", str(technician))


def _refused(field: str, code: str, detail: str, value: object) -> Problem:
    return Problem(code, detail, errors=[field_error(f"/{field}", code, detail, value=str(value))])
