"""Preview and apply a list: the whole of it, or nothing."""

from dataclasses import dataclass, field

import tablib
from django.core.exceptions import PermissionDenied
from django.db import transaction
from import_export.results import Result, RowResult

from common.models import AuditLine
from fleet.lists.reading import Refused
from fleet.lists.resources import KINDS
from people.models import User
from people.permissions import sees_everything

SHOWN = 100


@dataclass
class Outcome:
    """What a list does, or did: counts, the first rows that change, and every fault up to a hundred."""

    added: int = 0
    changed: int = 0
    unchanged: int = 0
    faulty: int = 0
    rows: list[tuple[int, bool, list[tuple[str, str, str]]]] = field(default_factory=list)
    faults: list[tuple[int, str, str]] = field(default_factory=list)


def list_preview(*, by: User, kind: str, table: tablib.Dataset) -> Outcome:
    """What applying the table would do. Nothing is kept."""
    return _run(by, kind, table, dry_run=True)


def list_apply(*, by: User, kind: str, table: tablib.Dataset) -> Outcome:
    """Store the table, all of it; where one row is faulty nothing is stored and the outcome says why."""
    outcome = Outcome()
    with transaction.atomic():
        outcome = _run(by, kind, table, dry_run=False)
        if outcome.faulty:
            transaction.set_rollback(True)
            return outcome
        AuditLine.objects.create(
            actor_id=by.pk,
            actor_name=str(by),
            verb="list_imported",
            subject_type=f"fleet.{kind}",
            subject_id=0,
            detail={"added": outcome.added, "changed": outcome.changed},
        )
    return outcome


def _run(by: User, kind: str, table: tablib.Dataset, *, dry_run: bool) -> Outcome:
    if not sees_everything(by):
        raise PermissionDenied
    resource = KINDS[kind]()
    _refuse_unknown_columns(resource, table)
    result = resource.import_data(table, dry_run=dry_run, raise_errors=False, use_transactions=True)
    return _outcome(result)


def _refuse_unknown_columns(resource: object, table: tablib.Dataset) -> None:
    known = [field.column_name for field in resource.get_import_fields()]  # type: ignore[attr-defined]
    unknown = [name for name in table.headers if name not in known]
    if unknown:
        raise Refused(f"The column «{unknown[0]}» is not known. Known: {', '.join(known)}.")
    keys = resource._meta.import_id_fields  # type: ignore[attr-defined]
    missing = [name for name in keys if name not in table.headers]
    if missing:
        raise Refused(f"The column «{missing[0]}» is missing; a row is known by {', '.join(keys)}.")


def _outcome(result: Result) -> Outcome:
    outcome = Outcome()
    for number, row in enumerate(result.rows, 2):
        faults = list(_faults(row))
        if faults:
            outcome.faulty += 1
            outcome.faults += [(number, *fault) for fault in faults][: SHOWN - len(outcome.faults)]
            continue
        new = row.import_type == RowResult.IMPORT_TYPE_NEW
        same = row.import_type == RowResult.IMPORT_TYPE_SKIP
        outcome.added += new
        outcome.unchanged += same
        outcome.changed += not new and not same
        if not same and len(outcome.rows) < SHOWN:
            outcome.rows.append((number, new, row.diff or []))
    return outcome


def _faults(row: RowResult) -> list[tuple[str, str]]:
    found = [("", str(error.error)) for error in row.errors]
    if row.validation_error is not None:
        for name, messages in row.validation_error.message_dict.items():
            found += [("" if name == "__all__" else name, text) for text in messages]
    return found
