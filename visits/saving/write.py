"""Write merged visits with their rows and their judgements: the same number of queries whatever their size.

In two steps, so that many visits are looked up, judged and written together: a draft is a visit with its
rows, unsaved; `drafts_store` judges drafts and writes them.
"""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from common.canonical import packed
from common.outbox import announce_all
from common.problems import Problem
from common.upsert import insert, upsert
from fleet.models import PartFitted
from people.models import User
from visits.judging.case import Case, Judgement
from visits.judging.engine import judge
from visits.judging.load import gap_of
from visits.judging.store import finding_build, findings_store, findings_write, health_set, results_store
from visits.models import (
    Adjustment,
    Attendance,
    Finding,
    FiringTest,
    PlantSetting,
    TemporaryChange,
    Visit,
    VisitItem,
    VisitRecord,
)
from visits.payload import VisitIn
from visits.permissions import can_open_visit
from visits.saving.answer import answer_build
from visits.saving.document import Document, flattened
from visits.saving.references import Instrument, Place, burners_unknown
from visits.saving.rows import Rows, rows_build
from visits.saving.shelf import Shelf


@dataclass(frozen=True)
class Stored:
    """The record row, still to be saved with its answers, and the answer."""

    record: VisitRecord
    answer: dict[str, Any]


@dataclass(frozen=True)
class Draft:
    """A visit with its rows, unsaved, and what it is judged by.

    record: the current row of a known visit, None for a new one.   reason: of a correction.
    """

    user: User
    visit: Visit
    body: VisitIn
    place: Place
    rows: Rows
    case: Case
    document: Document
    now: datetime
    record: VisitRecord | None
    reason: str
    was_closed: bool


def draft_build(
    *,
    user: User,
    source: str,
    body: VisitIn,
    place: Place,
    visit_uuid: uuid.UUID,
    document: Document,
    now: datetime,
    shelf: Shelf,
    record: VisitRecord | None = None,
    reason: str = "",
) -> Draft:
    """The visit that a merged body describes. Raises Problem where it cannot be stored; writes nothing."""
    burners_unknown(body, place)
    visit = record.visit if record else _new_visit(user, source, place, visit_uuid, body, now, shelf)
    was_closed = visit.is_closed
    instrument = shelf.instrument(
        name=body.analyser, text=body.analyser_text, on=place.local_day(body.opened_at)
    )
    _describe(visit, body, place, instrument, now)
    rows = rows_build(visit=visit, body=body, place=place, instrument=instrument)
    case = _case(visit, place, rows, instrument, now, shelf)
    return Draft(user, visit, body, place, rows, case, document, now, record, reason, was_closed)


def drafts_store(drafts: Sequence[Draft]) -> list[Stored]:
    """Judge and write the drafts, all new or one alone. Inside a transaction of the caller's.

    Raises IntegrityError where another save came first.
    """
    judgements = judge([draft.case for draft in drafts])
    for draft, judgement in zip(drafts, judgements, strict=True):
        _apply(draft, judgement)
    _write_visits(drafts)
    _write_rows(drafts, judgements)
    findings = [
        _write_findings(draft.case, judgement) if draft.record else _findings_of(draft.case, judgement)
        for draft, judgement in zip(drafts, judgements, strict=True)
    ]
    findings_write(
        [row for draft, own in zip(drafts, findings, strict=True) if not draft.record for row in own]
    )
    _on_closing([draft for draft in drafts if draft.visit.is_closed])
    return [
        Stored(
            _next_record(draft),
            answer_build(
                visit=draft.visit,
                body=flattened(draft.document),
                case=draft.case,
                results=judgement.results,
                findings=own,
            ),
        )
        for draft, judgement, own in zip(drafts, judgements, findings, strict=True)
    ]


def _new_visit(
    user: User,
    source: str,
    place: Place,
    visit_uuid: uuid.UUID,
    body: VisitIn,
    now: datetime,
    shelf: Shelf,
) -> Visit:
    day = place.local_day(body.opened_at)
    attendance, uuid_is_free = shelf.attendance(place=place, user=user, on=day, named=body.attendance)
    if not can_open_visit(user, attendance):
        raise Problem("not_permitted", "This attendance is another technician's.", status=403)
    if attendance is None:
        attendance = Attendance(plant=place.appliance.plant, technician=user, local_on=day)
        if body.attendance is not None and uuid_is_free:
            attendance.uuid = body.attendance
        shelf.opened(attendance)
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
    visit.local_on = place.local_day(body.opened_at)
    visit.notes = body.notes or ""
    visit.revision += 1
    if body.closed_at is not None:
        visit.closed_at, visit.outcome = body.closed_at, str(body.outcome)
        visit.closed_received_at = visit.closed_received_at or now


def _case(
    visit: Visit, place: Place, rows: Rows, instrument: Instrument, now: datetime, shelf: Shelf
) -> Case:
    bearing = shelf.bearing(visit, place)
    return Case(
        visit=visit,
        appliance=place.appliance,
        burner_ids=[burner.pk for burner in place.burners],
        tests=rows.tests,
        adjustments=rows.adjustments,
        changes=rows.changes,
        specs=bearing.specs,
        trims=bearing.trims,
        limits=bearing.limits,
        channels=instrument.channels,
        period=instrument.period,
        licence_gap=gap_of(visit, bearing.licences),
        now=now,
        gases=bearing.gases,
        items=bearing.items,
        answers=rows.items,
        settings=rows.settings,
        parts=rows.parts,
    )


def _apply(draft: Draft, judgement: Judgement) -> None:
    """Put the judgement on the unsaved rows."""
    visit, gap = draft.visit, draft.case.licence_gap
    if draft.reason and gap is not None:
        # What was signed was another record.
        visit.countersigned_by, visit.countersigned_at = None, None
    visit.uncountersigned = visit.is_closed and gap is not None and visit.countersigned_at is None
    health_set(visit, judgement.as_found, judgement.as_left)
    for test, code in zip(draft.rows.tests, judgement.kept_out, strict=True):
        test.kept_out = code


def _write_visits(drafts: Iterable[Draft]) -> None:
    new = [draft.visit for draft in drafts if draft.record is None]
    # Several visits of one attendance share the unsaved row.
    opened = {id(visit.attendance): visit.attendance for visit in new if visit.attendance.pk is None}
    insert(opened.values(), model=Attendance)
    insert(new, model=Visit)
    for draft in drafts:
        if draft.record is not None:
            draft.visit.save()


def _write_rows(drafts: Sequence[Draft], judgements: Sequence[Judgement]) -> None:
    for model, kind in (
        (FiringTest, "tests"),
        (Adjustment, "adjustments"),
        (TemporaryChange, "changes"),
        (PlantSetting, "settings"),
        (VisitItem, "items"),
    ):
        for draft in drafts:
            if draft.reason:
                # They stay visible in the record that is corrected.
                keys = [row.key for row in getattr(draft.rows, kind)]
                model.objects.filter(visit=draft.visit).exclude(key__in=keys).delete()
        rows = (row for draft in drafts for row in getattr(draft.rows, kind))
        upsert(rows, model=model, identity=["visit", "key"])
    results_store(result for judgement in judgements for result in judgement.results)


def _write_findings(case: Case, judgement: Judgement) -> list[Finding]:
    return findings_store([case], [judgement])


def _findings_of(case: Case, judgement: Judgement) -> list[Finding]:
    return [finding_build(case, draft) for draft in judgement.findings]


def _on_closing(drafts: Sequence[Draft]) -> None:
    parts = [
        PartFitted(
            burner=draft.place.burner(row.burner),
            part=row.part,
            fitted_at=row.fitted_at or draft.body.closed_at or draft.now,
            visit_uuid=draft.visit.uuid,
        )
        for draft in drafts
        for row in draft.body.parts
        if row.part and not row.withdrawn_reason
    ]
    if parts:
        PartFitted.objects.bulk_create(parts, ignore_conflicts=True)
    for kind, was_closed in (("visit.closed", False), ("visit.corrected", True)):
        announce_all(
            kind,
            [
                (draft.visit.pk, {"appliance": draft.visit.appliance_id})
                for draft in drafts
                if draft.was_closed is was_closed
            ],
        )


def _next_record(draft: Draft) -> VisitRecord:
    """The current row renewed while the visit is open; the next revision where it is corrected."""
    record, visit, document = draft.record, draft.visit, packed(draft.document)
    if record is not None and not draft.reason:
        record.revision, record.document = visit.revision, document
        record.by, record.at = draft.user, draft.now
        return record
    if record is not None:
        VisitRecord.objects.filter(pk=record.pk).update(current=False)
    return VisitRecord(
        visit=visit,
        revision=visit.revision,
        corrects=record,
        by=draft.user,
        at=draft.now,
        reason=draft.reason,
        document=document,
    )
