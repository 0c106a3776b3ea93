"""Save many visits in one request, each answered on its own.

First saves of new visits are looked up, judged and written together; what is known already goes the way of a
single save. Whatever keeps them from going together, they go one by one: only speed is lost.
"""

import logging
import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pydantic_core
from django.db import DatabaseError, transaction
from django.utils import timezone

from common.parsing import invalid, short_value
from common.problems import Problem, field_error
from common.upsert import insert
from visits.models import Visit, VisitRecord
from visits.saving.read_once import ReadOnce
from visits.saving.references import as_uuid
from visits.saving.save import Conditions, Saved, Sender, Sent, first_answer, first_draft, visit_save
from visits.saving.write import Draft, drafts_store

log = logging.getLogger(__name__)

MOST_VISITS = 200
TOGETHER = 100
"""Visits in one transaction: SQLite's write lock is held for some tenths of a second."""


@dataclass(frozen=True)
class Entry:
    """One visit of a batch: its UUID, its body as PUT takes it, and what PUT has in `If-Match`."""

    visit_uuid: uuid.UUID
    raw: bytes
    if_match: str | None


Outcome = Saved | Problem


def visits_save(*, sender: Sender, raw: bytes) -> list[tuple[Any, Outcome]]:
    """Save each visit as `visit_save` would, in the order given; per visit the UUID as sent and the outcome.
    What was sent in its place and is no UUID is told in short, as in any refusal.

    Raises Problem only where there is no list of visits to answer, or it is too long. What is answered as
    saved is committed.
    """
    items = _items(raw)
    outcomes: list[Outcome | None] = [None] * len(items)
    waiting: list[tuple[int, Entry]] = []
    for place, item in enumerate(items):
        try:
            waiting.append((place, _entry(item)))
        except Problem as problem:
            outcomes[place] = problem
    for round_ in _rounds(waiting):
        for start in range(0, len(round_), TOGETHER):
            part = round_[start : start + TOGETHER]
            for (place, _), outcome in zip(part, _save(sender, [entry for _, entry in part]), strict=True):
                outcomes[place] = outcome
    return [
        (short_value(item.get("uuid")) if isinstance(item, dict) else None, outcome)
        for item, outcome in zip(items, outcomes, strict=True)
        if outcome is not None
    ]


def _items(raw: bytes) -> list[Any]:
    try:
        batch = pydantic_core.from_json(raw)
    except ValueError as error:
        raise Problem("not_json", f"The body is not JSON: {error}.") from error
    items = batch.get("visits") if isinstance(batch, dict) else None
    if not isinstance(items, list) or not items:
        raise invalid([field_error("/visits", "required", "Send a list of visits.", limit="1 or more")])
    if len(items) > MOST_VISITS:
        raise Problem(
            "batch_too_long",
            f"{len(items)} visits in one batch; this server takes {MOST_VISITS}. Send them in parts.",
            status=413,
            errors=[
                field_error("/visits", "too_long", "Too many visits.", value=len(items), limit=MOST_VISITS)
            ],
        )
    return items


def _entry(item: Any) -> Entry:
    members = item if isinstance(item, dict) else {}
    name, body, if_match = members.get("uuid"), members.get("body"), members.get("if_match")
    visit_uuid = as_uuid(name) if isinstance(name, str) else None
    errors = []
    if visit_uuid is None:
        errors.append(
            field_error("/uuid", "uuid_parsing", "Name the visit.", value=short_value(name), limit="a UUID")
        )
    if not isinstance(body, dict):
        errors.append(field_error("/body", "required", "Send the visit's body.", limit="an object"))
    if if_match is not None and not isinstance(if_match, str):
        errors.append(field_error("/if_match", "string_type", "Send the revision's entity tag."))
    if visit_uuid is None or errors:
        raise invalid(errors)
    return Entry(visit_uuid, pydantic_core.to_json(body), if_match)


def _rounds(entries: Sequence[tuple[int, Entry]]) -> list[list[tuple[int, Entry]]]:
    """The first save of every visit, then the second of those that have one, and so on."""
    seen: Counter[uuid.UUID] = Counter()
    rounds: list[list[tuple[int, Entry]]] = []
    for place, entry in entries:
        turn = seen[entry.visit_uuid]
        seen[entry.visit_uuid] += 1
        if turn == len(rounds):
            rounds.append([])
        rounds[turn].append((place, entry))
    return rounds


def _save(sender: Sender, entries: Sequence[Entry]) -> list[Outcome]:
    """Outcomes of entries that each name another visit."""
    known = set(
        Visit.objects.filter(uuid__in=[entry.visit_uuid for entry in entries]).values_list("uuid", flat=True)
    )
    new = [entry for entry in entries if entry.visit_uuid not in known and entry.if_match is None]
    together = _save_together(sender, new)
    return [together.get(entry.visit_uuid) or _save_alone(sender, entry) for entry in entries]


def _save_together(sender: Sender, entries: Sequence[Entry]) -> dict[uuid.UUID, Outcome]:
    """Outcomes of first saves, by visit; none of them where they cannot go together."""
    outcomes: dict[uuid.UUID, Outcome] = {}
    sent: list[Sent] = []
    try:
        for entry in entries:
            try:
                sent.append(Sent.parse(entry.visit_uuid, entry.raw))
            except Problem as problem:
                outcomes[entry.visit_uuid] = problem
        with transaction.atomic():
            outcomes |= _store_together(sender, sent)
    except DatabaseError:
        # Another save of one of them, or of its attendance, came first. One by one that is seen to.
        return {}
    except Exception:
        log.exception("a batch could not be saved together; its visits go one by one")
        return {}
    return outcomes


def _store_together(sender: Sender, sent: Sequence[Sent]) -> dict[uuid.UUID, Outcome]:
    if not sent:
        return {}
    shelf = ReadOnce([one.body for one in sent], sender.user)
    outcomes: dict[uuid.UUID, Outcome] = {}
    drafts: list[tuple[Sent, Draft]] = []
    now = timezone.now()
    for one in sent:
        try:
            drafts.append((one, first_draft(sender, one, shelf, now)))
        except Problem as problem:
            outcomes[one.visit_uuid] = problem
    stored = drafts_store([draft for _, draft in drafts])
    for (one, _), row in zip(drafts, stored, strict=True):
        outcomes[one.visit_uuid] = first_answer(sender, one, row)
    insert((row.record for row in stored), model=VisitRecord)
    return outcomes


def _save_alone(sender: Sender, entry: Entry) -> Outcome:
    try:
        conditions = Conditions(match=entry.if_match)
        return visit_save(sender=sender, visit_uuid=entry.visit_uuid, raw=entry.raw, conditions=conditions)
    except Problem as problem:
        return problem
    except Exception:
        log.exception("visit %s of a batch could not be saved", entry.visit_uuid)
        return Problem(
            "failed", "This visit could not be stored; nothing of it was. Send it again later.", status=500
        )
