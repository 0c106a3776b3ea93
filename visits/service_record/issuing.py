"""Issue a service record: the same content gives the same record, another content the next revision."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from common.audit import audit
from common.canonical import body_hash, canonical_json, packed, unpacked
from people.models import User
from visits.models import Attendance, ServiceRecord
from visits.service_record.codes import code_new
from visits.service_record.content import attendance_for_record, content_build

WITH_INDICATIVE = 2
"""The first format of a record that says of each test whether its efficiency is indicative."""


@dataclass(frozen=True)
class Issue:
    """A record as issued, or as it would read where it cannot be issued yet."""

    content: dict[str, Any]
    record: ServiceRecord | None
    """None while nothing is closed, or a visit of today is still open."""

    @property
    def etag(self) -> str:
        """A strong entity tag of what it says."""
        digest = bytes(self.record.digest) if self.record else body_hash(self.content)
        return f'"{digest.hex()[:32]}"'


def record_issue(*, by: User | None, attendance: Attendance) -> Issue:
    """The record of an attendance, issued where it may be and has not been as it now reads.

    by: who asks; their right to see the attendance is the caller's to ask.   Reading it again writes nothing.
    """
    content = content_build(attendance_for_record(attendance))
    newest = _newest(attendance)
    if newest is not None and _says_the_same(unpacked(newest.content), content):
        return Issue(unpacked(newest.content), newest)
    if not _may_be_issued(attendance, content):
        return Issue(content, None)
    return _issued(by, attendance, content)


@transaction.atomic
def _issued(by: User | None, attendance: Attendance, content: dict[str, Any]) -> Issue:
    # Whoever asks at the same moment waits here, and then finds the record that was issued.
    Attendance.objects.select_for_update().get(pk=attendance.pk)
    newest = _newest(attendance)
    if newest is not None and _says_the_same(unpacked(newest.content), content):
        return Issue(unpacked(newest.content), newest)
    code, revision = code_new(), 1 if newest is None else newest.revision + 1
    record = ServiceRecord.objects.create(
        attendance=attendance,
        revision=revision,
        code=code,
        digest=record_digest(code, revision, content),
        visit_revisions={visit["uuid"]: visit["revision"] for visit in content["visits"]},
        content=packed(content),
        issued_at=timezone.now(),
        issued_by=by,
    )
    audit(by=by, verb="record_issued", subject=record, revision=revision)
    return Issue(content, record)


def record_digest(code: str, revision: int, content: dict[str, Any]) -> bytes:
    """SHA-256 over code, revision and content as canonical JSON: what a record stands for."""
    return body_hash({"code": code, "revision": revision, "content": content})


def fingerprint(record: ServiceRecord) -> str:
    """The first 64 bits of the digest, as printed.

    Enough to tell two revisions apart by eye; a copy is compared by its whole file.
    """
    text = bytes(record.digest).hex()[:16].upper()
    return " ".join(text[start : start + 4] for start in range(0, 16, 4))


def _newest(attendance: Attendance) -> ServiceRecord | None:
    rows = ServiceRecord.objects.filter(attendance=attendance).order_by("-revision")
    found: ServiceRecord | None = rows.first()
    return found


def _may_be_issued(attendance: Attendance, content: dict[str, Any]) -> bool:
    """Something is closed, and nothing is still going on: one left open is not waited for past its day."""
    today = datetime.now(UTC).astimezone(attendance.plant.site.zone).date()
    return bool(content["visits"]) and (not content["open"] or _day(content) < today)


def _day(content: dict[str, Any]) -> date:
    return date.fromisoformat(content["attendance"]["local_on"])


def _says_the_same(issued: dict[str, Any], now: dict[str, Any]) -> bool:
    """Whether a record as issued still says what the rows say.

    The firm's own name is no reason for a new revision, nor is what its format did not hold yet, nor a next
    date that was planned anew since: the record says what was planned when it was issued. One that was not
    known then is.
    """
    known = {visit["uuid"]: visit["next_on"] for visit in issued["visits"] if visit["next_on"]}
    visits = [visit | {"next_on": known.get(visit["uuid"], visit["next_on"])} for visit in now["visits"]]
    compared = now | {"visits": visits, "firm": issued["firm"], "format": issued["format"]}
    if issued["format"] < WITH_INDICATIVE:
        for visit in visits:
            visit["tests"] = [_without(test, "indicative") for test in visit["tests"]]
    return canonical_json(compared) == canonical_json(issued)


def _without(row: dict[str, Any], member: str) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name != member}
