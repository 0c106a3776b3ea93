"""Take photographs, whole or in parts, and clear what was left half-way."""

import hashlib
import hmac
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone

from common.audit import audit
from common.problems import Problem
from people.models import User
from visits.models import Photograph, PhotographPart, Visit
from visits.permissions import can_write_visit
from visits.photographs.picture import MAX_BYTES, picture_of
from visits.photographs.ranges import Part

PER_VISIT = 60
ABANDONED_AFTER = timedelta(days=3)
CLEARED_AT_ONCE = 200


@dataclass(frozen=True)
class Told:
    """What the device tells of a photograph beside its bytes."""

    item: str = ""
    caption: str = ""
    taken_at: datetime | None = None


def photograph_take(
    *, by: User, visit: Visit, key: UUID, part: Part, data: bytes, digest: str, told: Told
) -> Photograph:
    """Keep a part of a photograph; with the last one, check it whole and keep the picture.

    Parts come in order from byte 0; one that is there already is answered with how much is held. Sending a
    stored photograph again under the same digest changes nothing. digest: SHA-256 of the whole file,
    hexadecimal; needed where it comes in parts.
    Raises Problem `not_permitted`, `too_large`, `too_many`, `digest_wrong`, `offset_wrong`, `key_reused`, and
    what `picture_of` raises; a file that cannot be kept is forgotten, to be sent anew.
    """
    if not can_write_visit(by, visit):
        raise Problem("not_permitted", "This visit is another technician's.", status=403)
    if part.total > MAX_BYTES:
        detail = f"A photograph has at most {MAX_BYTES} bytes; this one has {part.total}."
        raise Problem("too_large", detail, status=413)
    if not part.total:
        raise Problem("not_a_photograph", "The file is empty.")
    if part.is_whole:
        own = hashlib.sha256(data).hexdigest()
        if digest and not hmac.compare_digest(digest, own):
            raise _digest_differs()
        digest = own
    elif not digest:
        raise Problem("digest_wrong", "A photograph in parts needs the Repr-Digest of the whole file.")
    row = _part_keep(by, visit, key, part, data, digest, told)
    if row.state == Photograph.State.RECEIVING and row.held_bytes == row.sent_bytes:
        return _finish(by, row)
    return row


@transaction.atomic
def _part_keep(
    by: User, visit: Visit, key: UUID, part: Part, data: bytes, digest: str, told: Told
) -> Photograph:
    """Note the part, or that it is there. The visit's row is held, so that parts come one after the other."""
    Visit.objects.select_for_update().get(pk=visit.pk)
    row = Photograph.objects.filter(visit=visit, key=key).first()
    if row is None:
        if part.start:
            raise _offset_wrong(0)
        if Photograph.objects.filter(visit=visit).count() >= PER_VISIT:
            raise Problem("too_many", f"A visit holds at most {PER_VISIT} photographs.", status=409)
        row = Photograph(visit=visit, key=key, by=by, sent_sha256=digest, sent_bytes=part.total)
        row.item, row.caption, row.taken_at = told.item, told.caption, told.taken_at
    elif (row.sent_sha256, row.sent_bytes) != (digest, part.total):
        raise Problem("key_reused", "This key is another photograph's. Make a new one.", status=409)
    if row.state == Photograph.State.STORED or (row.pk and part.end <= row.held_bytes):
        return row
    if part.start != row.held_bytes:
        raise _offset_wrong(row.held_bytes)
    row.held_bytes, row.changed_at = part.end, timezone.now()
    row.save()
    PhotographPart.objects.create(photograph=row, start=part.start, data=data)
    return row


def _finish(by: User, row: Photograph) -> Photograph:
    """Check the whole and keep the picture. Outside any transaction: decoding takes its time."""
    sent = b"".join(bytes(data) for data in row.parts.order_by("start").values_list("data", flat=True))
    if len(sent) < row.sent_bytes:
        # Another request finished it meanwhile, or found that it cannot be kept.
        row.refresh_from_db()
        return row
    try:
        if not hmac.compare_digest(hashlib.sha256(sent).hexdigest(), row.sent_sha256):
            raise _digest_differs()
        picture = picture_of(sent)
    except Problem:
        Photograph.objects.filter(pk=row.pk, state=Photograph.State.RECEIVING).delete()
        raise
    wanted = f"photographs/{row.visit.uuid}/{row.key}.jpg"
    path = default_storage.save(wanted, ContentFile(picture.data))
    try:
        kept = _keep(by, row, path, picture.width_px, picture.height_px, len(picture.data))
    except BaseException:
        default_storage.delete(path)
        raise
    if not kept:
        default_storage.delete(path)
    row.refresh_from_db()
    return row


@transaction.atomic
def _keep(by: User, row: Photograph, path: str, width_px: int, height_px: int, stored_bytes: int) -> bool:
    """Claim the photograph as stored: true for the one request that does."""
    claimed = Photograph.objects.filter(pk=row.pk, state=Photograph.State.RECEIVING).update(
        state=Photograph.State.STORED,
        path=path,
        width_px=width_px,
        height_px=height_px,
        stored_bytes=stored_bytes,
        changed_at=timezone.now(),
    )
    if claimed:
        PhotographPart.objects.filter(photograph=row).delete()
        audit(by=by, verb="photographed", subject=row.visit, photograph=row.pk)
    return bool(claimed)


def parts_clear(now: datetime) -> int:
    """The tick's duty: forget photographs of which nothing came for days. Returns how many."""
    old = Photograph.objects.filter(state=Photograph.State.RECEIVING, changed_at__lt=now - ABANDONED_AFTER)
    keys = list(old.values_list("pk", flat=True)[:CLEARED_AT_ONCE])
    # Asked again with the deletion: a part may have come meanwhile.
    return old.filter(pk__in=keys).delete()[1].get("visits.Photograph", 0) if keys else 0


def _digest_differs() -> Problem:
    return Problem("digest_wrong", "What came is not the file that the digest speaks of. Send it anew.")


def _offset_wrong(held: int) -> Problem:
    return Problem("offset_wrong", f"{held} bytes are held: go on from there.", status=409, offset=held)
