"""Write a merged visit with its rows and its judgement: the same number of queries whatever its size."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import models

from combustion.fuels import Fuel
from common.canonical import packed
from common.outbox import announce
from common.prepared import Bind, Prepared
from common.problems import Problem
from common.upsert import upsert
from fleet.models import FiringSpec, PartFitted
from fleet.selectors import gases_of_site, limit_book
from people.models import Licence, User
from visits.judging.case import Case, Judgement
from visits.judging.engine import judge
from visits.judging.load import gap_of
from visits.judging.store import finding_build, findings_store, findings_write, health_set, results_store
from visits.models import (
    Adjustment,
    Attendance,
    Finding,
    FiringTest,
    TemporaryChange,
    Visit,
    VisitItem,
    VisitRecord,
)
from visits.payload import VisitIn
from visits.permissions import can_open_visit
from visits.saving.answer import answer_build
from visits.saving.document import Document, flattened
from visits.saving.references import (
    Instrument,
    Place,
    attendance_find,
    burners_unknown,
    instrument_find,
)
from visits.saving.rows import Rows, rows_build


@dataclass(frozen=True)
class Stored:
    """The record row, still to be saved with its answers, and the answer."""

    record: VisitRecord
    answer: dict[str, Any]


def visit_store(
    *,
    user: User,
    source: str,
    body: VisitIn,
    place: Place,
    visit_uuid: uuid.UUID,
    document: Document,
    now: datetime,
    record: VisitRecord | None = None,
    reason: str = "",
) -> Stored:
    """Judge and write. `record` is the current row of a known visit; with a reason, the row it corrects."""
    burners_unknown(body, place)
    known = record.visit if record else None
    visit = known or _new_visit(user, source, place, visit_uuid, body, now)
    was_closed = visit.is_closed
    instrument = instrument_find(
        name=body.analyser, text=body.analyser_text, on=_local_day(place, body.opened_at)
    )
    _describe(visit, body, place, instrument, now)
    rows = rows_build(visit=visit, body=body, place=place, instrument=instrument)
    case = _case(visit, place, rows, instrument, now)
    judgement = judge([case])[0]
    if reason and case.licence_gap is not None:
        # What was signed was another record.
        visit.countersigned_by, visit.countersigned_at = None, None
    visit.uncountersigned = (
        visit.is_closed and case.licence_gap is not None and visit.countersigned_at is None
    )
    _write(visit, rows, case, judgement, correcting=bool(reason))
    findings = _write_findings(case, judgement, is_new=known is None)
    if visit.is_closed:
        _on_closing(visit, body, place, now, corrected=was_closed)
    row = _next_record(visit, user, document, record, reason, now)
    answer = answer_build(
        visit=visit, body=flattened(document), case=case, results=judgement.results, findings=findings
    )
    return Stored(row, answer)


def _local_day(place: Place, at: datetime) -> Any:
    return at.astimezone(place.appliance.plant.site.zone).date()


def _new_visit(
    user: User, source: str, place: Place, visit_uuid: uuid.UUID, body: VisitIn, now: datetime
) -> Visit:
    day = _local_day(place, body.opened_at)
    attendance, uuid_is_free = attendance_find(place=place, user=user, on=day, named=body.attendance)
    if not can_open_visit(user, attendance):
        raise Problem("not_permitted", "This attendance is another technician's.", status=403)
    if attendance is None:
        attendance = Attendance(plant=place.appliance.plant, technician=user, local_on=day)
        if body.attendance is not None and uuid_is_free:
            attendance.uuid = body.attendance
        attendance.save(force_insert=True)
    return Visit(
        uuid=visit_uuid,
        attendance=attendance,
        appliance=place.appliance,
        source=source,
        technician=attendance.technician or user,
        received_at=now,
        revision=0,
    )


def _describe(visit: Visit, body: VisitIn, place: Place, instrument: Instrument, now: datetime) -> None:
    visit.kind = body.kind
    visit.fuel = body.fuel or place.appliance.fuel
    visit.analyser = instrument.analyser
    visit.analyser_period = instrument.period
    visit.analyser_text = instrument.text
    visit.opened_at = body.opened_at
    visit.local_on = _local_day(place, body.opened_at)
    visit.notes = body.notes or ""
    visit.revision += 1
    if body.closed_at is not None:
        visit.closed_at, visit.outcome = body.closed_at, str(body.outcome)
        visit.closed_received_at = visit.closed_received_at or now


_specs = Prepared(lambda: FiringSpec.objects.filter(model=Bind("model", models.BigIntegerField())))
_licences = Prepared(
    lambda: Licence.objects.filter(technician__user=Bind("person", models.BigIntegerField()))
)


def _case(visit: Visit, place: Place, rows: Rows, instrument: Instrument, now: datetime) -> Case:
    appliance = place.appliance
    customer = appliance.plant.site.customer
    return Case(
        visit=visit,
        appliance=appliance,
        burner_ids=[burner.pk for burner in place.burners],
        tests=rows.tests,
        adjustments=rows.adjustments,
        changes=rows.changes,
        specs=_specs(model=appliance.model_id),
        trims=place.trims,
        limits=limit_book().in_force(customer.country, customer.pk, visit.local_on),
        channels=instrument.channels,
        period=instrument.period,
        licence_gap=gap_of(visit, _licences(person=visit.technician_id)),
        now=now,
        gases=_gases(place, visit),
    )


def _gases(place: Place, visit: Visit) -> Mapping[str, Fuel]:
    site = place.appliance.plant.site
    return gases_of_site(site).in_force(site, visit.local_on) if place.gas_reported else {}


def _write(visit: Visit, rows: Rows, case: Case, judgement: Judgement, *, correcting: bool) -> None:
    health_set(visit, judgement.as_found, judgement.as_left)
    visit.save()
    for test, code in zip(rows.tests, judgement.kept_out, strict=True):
        test.kept_out = code
    for model, kind in (
        (FiringTest, rows.tests),
        (Adjustment, rows.adjustments),
        (TemporaryChange, rows.changes),
        (VisitItem, rows.items),
    ):
        if correcting:
            # They stay visible in the record that is corrected.
            model.objects.filter(visit=visit).exclude(key__in=[row.key for row in kind]).delete()
        upsert(kind, model=model, identity=["visit", "key"])
    results_store(judgement.results)


def _write_findings(case: Case, judgement: Judgement, *, is_new: bool) -> list[Finding]:
    if not is_new:
        return findings_store([case], [judgement])
    findings = [finding_build(case, draft) for draft in judgement.findings]
    findings_write(findings)
    return findings


def _on_closing(visit: Visit, body: VisitIn, place: Place, now: datetime, *, corrected: bool) -> None:
    parts = [
        PartFitted(
            burner=place.burner(row.burner),
            part=row.part,
            fitted_at=row.fitted_at or body.closed_at or now,
            visit_uuid=visit.uuid,
        )
        for row in body.parts
        if row.part and not row.withdrawn_reason
    ]
    if parts:
        PartFitted.objects.bulk_create(parts, ignore_conflicts=True)
    announce("visit.corrected" if corrected else "visit.closed", visit.pk, appliance=visit.appliance_id)


def _next_record(
    visit: Visit,
    user: User,
    document: Document,
    record: VisitRecord | None,
    reason: str,
    now: datetime,
) -> VisitRecord:
    """The current row renewed while the visit is open; the next revision where it is corrected."""
    if record is not None and not reason:
        record.revision, record.document, record.by, record.at = visit.revision, packed(document), user, now
        return record
    if record is not None:
        VisitRecord.objects.filter(pk=record.pk).update(current=False)
    return VisitRecord(
        visit=visit,
        revision=visit.revision,
        corrects=record,
        by=user,
        at=now,
        reason=reason,
        document=packed(document),
    )
