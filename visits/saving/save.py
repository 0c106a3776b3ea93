"""Save a visit as a device knows it: merged, judged and stored in one transaction, or not at all."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, connection, models, transaction
from django.db.models import QuerySet
from django.utils import timezone
from pydantic_core import from_json, to_json

from common.audit import audit
from common.canonical import body_hash, packed, unpacked
from common.conditional import names_any
from common.prepared import Bind, Prepared
from common.problems import Problem
from common.upsert import insert
from people.models import User
from people.permissions import works_here
from visits.models import Visit, VisitRecord
from visits.payload import VisitIn, visit_parse
from visits.permissions import can_write_visit
from visits.saving.document import (
    Document,
    differences,
    flattened,
    merge,
    replaced,
    taken_over,
    without_nulls,
)
from visits.saving.references import place_find
from visits.saving.shelf import OneVisit, Shelf
from visits.saving.stored import visit_answer
from visits.saving.write import Draft, Stored, draft_build, drafts_store


@dataclass(frozen=True)
class Sender:
    """Who sends, and with which device: `t` and the token's id, or `u` and the person's in the browser."""

    user: User
    device: str

    @property
    def source(self) -> str:
        """How the visit came in."""
        return Visit.Source.REST if self.device.startswith("t") else Visit.Source.BROWSER


@dataclass(frozen=True)
class Conditions:
    """What a save is held to: `If-Match` and `If-None-Match` as sent (RFC 9110, 13.1)."""

    match: str | None = None
    none_match: str | None = None

    def hold_at(self, revision: int | None) -> None:
        """Raises Problem `revision_stale` where they do not hold. revision: None where nothing is stored."""
        if revision is None:
            if self.match is not None:
                raise _stale("This visit is not stored yet.")
            return
        if self.match is not None and not _matches(self.match, revision):
            raise _stale(f"The visit stands at revision {revision}.")
        if self.none_match is not None and names_any(self.none_match, {f'"{revision}"'}):
            raise _stale(f"The visit is stored already, at revision {revision}.")


@dataclass(frozen=True)
class Saved:
    """The answer to a save."""

    status: int
    answer: dict[str, Any]

    @property
    def etag(self) -> str:
        """The revision as an entity tag."""
        return f'"{self.answer["revision"]}"'


@dataclass(frozen=True)
class Sent:
    """A body as it came: parsed, and as JSON without null members."""

    visit_uuid: uuid.UUID
    body: VisitIn
    json: dict[str, Any]
    hash: str

    @classmethod
    def parse(cls, visit_uuid: uuid.UUID, raw: bytes) -> "Sent":
        """The body, checked. Raises Problem `invalid` or `not_json`."""
        body = visit_parse(raw)
        sent = without_nulls(from_json(raw))
        return cls(visit_uuid, body, sent, body_hash(sent).hex())


def visit_save(
    *, sender: Sender, visit_uuid: uuid.UUID, raw: bytes, conditions: Conditions = Conditions()
) -> Saved:
    """Store what one device knows of a visit, and answer with the judgement.

    In this order: a save number below the device's last is answered with the current state and writes
    nothing; the last one sent again is answered as before; another body under it is `save_no_reused`. A
    closed visit is `visit_closed` with what differs; `conditions` that do not hold are `revision_stale`; a
    row that another device owns and that differs is `row_conflict` with both, unless `take_over` names it:
    then what it was stays in the audit line.
    Raises Problem; then nothing is written.
    """
    sent = Sent.parse(visit_uuid, raw)
    try:
        with transaction.atomic():
            return _save(sender, sent, conditions, may_be_new=True)
    except IntegrityError:
        # Another save of the same visit or attendance came first: what it wrote is there now.
        with transaction.atomic():
            return _save(
                sender, sent, conditions, may_be_new=not Visit.objects.filter(uuid=visit_uuid).exists()
            )


def visit_preview(*, sender: Sender, visit_uuid: uuid.UUID, raw: bytes) -> dict[str, Any]:
    """What a save would be answered, by the save itself taken back: nothing is written. Raises Problem."""
    with transaction.atomic():
        saved = visit_save(sender=sender, visit_uuid=visit_uuid, raw=raw)
        transaction.set_rollback(True)
    return saved.answer


def visit_correct(
    *, sender: Sender, visit_uuid: uuid.UUID, raw: bytes, conditions: Conditions = Conditions()
) -> Saved:
    """Correct a closed visit: the body stands for the whole of it, and `reason` says why.

    The corrected revision stays beside the new one. Sending the same correction again changes nothing.
    """
    sent = Sent.parse(visit_uuid, raw)
    reason = sent.json.get("reason")
    if not isinstance(reason, str) or not 0 < len(reason.strip()) <= 400 or "\x00" in reason:
        raise _invalid("/reason", "required", "A correction needs its reason.", "1 to 400 characters")
    if sent.body.closed_at is None:
        raise _invalid("/closed_at", "required", "A corrected visit stays closed.", "present")
    sent.json.pop("reason")
    with transaction.atomic():
        record = _current_record(visit_uuid)
        if record is None:
            raise Problem("not_found", "No visit with a record of its own has this UUID.", status=404)
        _refuse_unless_writable(sender, record.visit)
        answers = unpacked(record.answers)
        before = _answered_before(sender, sent, record, answers)
        if before is not None:
            return before
        if not record.visit.is_closed:
            raise Problem("visit_open", "An open visit is saved, not corrected.", status=409)
        conditions.hold_at(record.revision)
        document = replaced(unpacked(record.document), _canonical(sent, record), sender.device)
        return _store(sender, sent, record, document, answers, reason=reason.strip())


def _save(sender: Sender, sent: Sent, conditions: Conditions, *, may_be_new: bool) -> Saved:
    record = _current_record(sent.visit_uuid)
    if record is None:
        if not may_be_new:
            raise Problem("visit_closed", "This visit was imported and is closed.", status=409, differs=[])
        conditions.hold_at(None)
        return _first(sender, sent)
    _refuse_unless_writable(sender, record.visit)
    answers = unpacked(record.answers)
    before = _answered_before(sender, sent, record, answers)
    if before is not None:
        return before
    document, body = unpacked(record.document), _canonical(sent, record)
    if record.visit.is_closed:
        raise Problem(
            "visit_closed",
            "This visit is closed. Send a correction with its reason.",
            status=409,
            differs=list(differences(document, body)),
        )
    conditions.hold_at(record.revision)
    merged, conflicts = merge(document, body, sender.device)
    if conflicts:
        raise Problem(
            "row_conflict", "Another device has sent these rows differently.", status=409, conflicts=conflicts
        )
    taken = taken_over(document, merged, body)
    if taken:
        audit(by=sender.user, verb="taken_over", subject=record.visit, was=taken)
    return _store(sender, sent, record, merged, answers)


def _first(sender: Sender, sent: Sent) -> Saved:
    draft = first_draft(sender, sent, OneVisit(sent.body, sender.user.pk, opens=True), timezone.now())
    (stored,) = drafts_store([draft])
    saved = first_answer(sender, sent, stored)
    insert([stored.record], model=VisitRecord)
    return saved


def first_draft(sender: Sender, sent: Sent, shelf: Shelf, now: datetime) -> Draft:
    """The first save of a visit, unsaved. Raises Problem."""
    if not works_here(sender.user):
        raise Problem("not_permitted", "Your role may not open visits.", status=403)
    place = shelf.place(appliance=sent.body.appliance, attendance=sent.body.attendance)
    document, _ = merge(None, {**sent.json, "appliance": str(place.appliance.uuid)}, sender.device)
    return draft_build(
        user=sender.user,
        source=sender.source,
        body=sent.body,
        place=place,
        visit_uuid=sent.visit_uuid,
        document=document,
        now=now,
        shelf=shelf,
    )


def first_answer(sender: Sender, sent: Sent, stored: Stored) -> Saved:
    """The answer to a first save, kept on its record, which is still to be written."""
    return _keep(sender, sent, stored, {}, status=201)


def _store(
    sender: Sender,
    sent: Sent,
    record: VisitRecord,
    document: Document,
    answers: dict[str, Any],
    *,
    reason: str = "",
) -> Saved:
    whole = {**flattened(document), "save_no": sent.body.save_no}
    body = sent.body if whole == sent.json else visit_parse(to_json(whole))
    shelf = OneVisit(body, record.visit.technician_id, opens=False)
    draft = draft_build(
        user=sender.user,
        source=sender.source,
        body=body,
        place=shelf.place(appliance=str(document["members"]["appliance"])),
        visit_uuid=sent.visit_uuid,
        document=document,
        now=timezone.now(),
        shelf=shelf,
        record=record,
        reason=reason,
    )
    (stored,) = drafts_store([draft])
    saved = _keep(sender, sent, stored, answers, status=200)
    stored.record.save()
    return saved


def _keep(sender: Sender, sent: Sent, stored: Stored, answers: dict[str, Any], *, status: int) -> Saved:
    """The answer, kept on the record for a retry; the record is still to be written."""
    answer = {"save_no": sent.body.save_no, **stored.answer, "ignored": sent.body.unknown_members()}
    answers[sender.device] = {"save_no": sent.body.save_no, "hash": sent.hash, "answer": answer}
    stored.record.answers = packed(answers)
    return Saved(status, answer)


def _answered_before(
    sender: Sender, sent: Sent, record: VisitRecord, answers: dict[str, Any]
) -> Saved | None:
    last = answers.get(sender.device)
    if last is None or sent.body.save_no > last["save_no"]:
        return None
    if sent.body.save_no < last["save_no"]:
        return Saved(200, {"save_no": last["save_no"], **visit_answer(record.visit, record)})
    if sent.hash == last["hash"]:
        return Saved(200, last["answer"])
    raise Problem(
        "save_no_reused",
        f"Save {sent.body.save_no} of this device was another body. Count on from {last['save_no'] + 1}.",
        status=409,
        last_save_no=last["save_no"],
    )


def _records() -> QuerySet[VisitRecord]:
    records = VisitRecord.objects.select_related("visit__attendance__technician", "visit__appliance")
    if connection.features.has_select_for_update_of:
        records = records.select_for_update(of=("self", "visit"))
    return records.filter(visit__uuid=Bind("uuid", models.UUIDField()), current=True)


_current_records = Prepared(_records)


def _current_record(visit_uuid: uuid.UUID) -> VisitRecord | None:
    """The record of a visit as it stands, held until the transaction ends."""
    return next(iter(_current_records(uuid=visit_uuid)), None)


def _canonical(sent: Sent, record: VisitRecord) -> dict[str, Any]:
    """The body with the appliance by its UUID, which a tag or serial that means the same becomes."""
    appliance = record.visit.appliance
    same = sent.body.appliance in (str(appliance.uuid), appliance.tag, appliance.serial)
    if not same:
        same = place_find(appliance=sent.body.appliance).appliance == appliance
    if not same:
        raise Problem(
            "row_conflict",
            "A visit stays with its appliance. Open another visit for the other one.",
            status=409,
            conflicts=[{"field": "/appliance", "stored": str(appliance.uuid), "sent": sent.body.appliance}],
        )
    return {**sent.json, "appliance": str(appliance.uuid)}


def _refuse_unless_writable(sender: Sender, visit: Visit) -> None:
    if can_write_visit(sender.user, visit):
        return
    if Visit.objects.visible_to(sender.user).filter(pk=visit.pk).exists():
        raise Problem("not_permitted", "This visit is another technician's.", status=403)
    raise Problem("not_found", "There is nothing at this address for you.", status=404)


def _matches(if_match: str, revision: int) -> bool:
    """Whether one of the tags of If-Match is this revision's, by strong comparison (RFC 9110, 13.1.1).

    What GET answers is told apart further than the revision: `"7-…"` (`common.conditional`).
    """
    tags = (tag.strip() for tag in if_match.split(","))
    return any(tag == "*" or tag == f'"{revision}"' or tag.startswith(f'"{revision}-') for tag in tags)


def _stale(detail: str) -> Problem:
    return Problem("revision_stale", detail, status=412)


def _invalid(field: str, code: str, detail: str, limit: str) -> Problem:
    error = {"field": field, "code": code, "detail": detail, "value": None, "limit": limit}
    return Problem("invalid", "One field cannot be taken as it is.", errors=[error])
