"""What whoever holds a copy of a service record is told: is it as issued, and does it still stand?"""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from common.canonical import unpacked
from visits.models import ServiceRecord, VisitRecord
from visits.service_record.codes import code_read
from visits.service_record.issuing import record_digest

MAX_FILE_BYTES = 2_000_000


class Standing(StrEnum):
    """Whether a record that was issued still stands."""

    STANDS = "stands"
    SUPERSEDED = "superseded"
    CORRECTED = "corrected"
    DAMAGED = "damaged"


@dataclass(frozen=True)
class Checked:
    """A record found by its code."""

    record: ServiceRecord
    content: dict[str, Any]
    standing: Standing
    newer: ServiceRecord | None
    """The newest revision, where this is not it."""
    corrected_on: datetime | None
    """When a visit of it was corrected, where no record has been issued since."""


def record_check(text: str) -> Checked | None:
    """What stands under a code as a person typed it, or None. Four queries at the most."""
    code = code_read(text)
    rows = ServiceRecord.objects.select_related("attendance__plant__site__customer")
    record = rows.filter(code=code).first() if code else None
    if record is None:
        return None
    content = unpacked(record.content)
    newest = ServiceRecord.objects.filter(attendance=record.attendance_id).order_by("-revision").first()
    newer = newest if newest is not None and newest.pk != record.pk else None
    corrected_on = _corrected_on(record)
    if record_digest(record.code, record.revision, content) != bytes(record.digest):
        standing = Standing.DAMAGED
    elif newer is not None:
        standing = Standing.SUPERSEDED
    else:
        standing = Standing.CORRECTED if corrected_on is not None else Standing.STANDS
    return Checked(record, content, standing, newer, corrected_on)


def file_matches(record: ServiceRecord, content: bytes) -> bool:
    """Whether a file is, byte for byte, one that we made of this record."""
    return record.files.filter(digest=hashlib.sha256(content).digest()).exists()


def _corrected_on(record: ServiceRecord) -> datetime | None:
    """When a visit in the record was last corrected, where that was after the record was issued."""
    known = record.visit_revisions
    rows = VisitRecord.objects.filter(visit__uuid__in=known, corrects__isnull=False)
    corrections = rows.values_list("visit__uuid", "revision", "at")
    return max((at for uuid, revision, at in corrections if revision > known[str(uuid)]), default=None)
