"""Rows of reference data edited by people: what an editor has not seen is never overwritten."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import models, transaction

from common.audit import audit
from common.problems import Problem, field_error


def values_of(row: models.Model, fields: Iterable[str]) -> dict[str, str]:
    """The stored values of some fields as text, to tell later whether anybody changed them."""
    return {name: _text(row, name) for name in fields}


def _text(row: models.Model, name: str) -> str:
    field = row._meta.get_field(name)
    if field.many_to_many:
        keys = getattr(row, name).order_by("pk").values_list("pk", flat=True) if row.pk else []
        return ",".join(str(key) for key in keys)
    return str(field.value_to_string(row))  # type: ignore[union-attr]


@transaction.atomic
def row_add(*, by: Any, row: models.Model, lists: Mapping[str, Iterable[Any]] | None = None) -> None:
    """Store a new row and its many-to-many lists, and leave an audit line. Raises ValidationError."""
    row.full_clean()
    row.save(force_insert=True)
    for name, chosen in (lists or {}).items():
        getattr(row, name).set(chosen)
    audit(by=by, verb="added", subject=row)


@transaction.atomic
def row_change(
    *, by: Any, row: models.Model, values: Mapping[str, Any], seen: Mapping[str, str]
) -> dict[str, tuple[str, str]]:
    """Give a stored row new values. Returns what changed: field to text before and after.

    values: field to new value, a list for a many-to-many field.   seen: `values_of` as the editor saw them.
    Raises Problem `changed_meanwhile` naming each field that somebody else has changed since, and
    ValidationError; then nothing is written.
    """
    model = type(row)
    held = model._default_manager.select_for_update().get(pk=row.pk)
    before = values_of(held, values)
    _refuse_unless_seen(held, before, seen)
    lists = {name for name in values if model._meta.get_field(name).many_to_many}
    for name in values.keys() - lists:
        setattr(held, name, values[name])
    held.full_clean()
    held.save()
    for name in lists:
        getattr(held, name).set(values[name])
    after = values_of(held, values)
    changed = {name: (before[name], after[name]) for name in values if before[name] != after[name]}
    if changed:
        audit(by=by, verb="changed", subject=held, changed=changed)
    return changed


def _refuse_unless_seen(held: models.Model, stored: Mapping[str, str], seen: Mapping[str, str]) -> None:
    others = {name: text for name, text in stored.items() if seen.get(name) != text}
    if not others:
        return
    label = {name: str(held._meta.get_field(name).verbose_name) for name in others}  # type: ignore[union-attr]
    told = [
        field_error(
            f"/{name}",
            "changed_meanwhile",
            f"Changed meanwhile from «{seen.get(name, '')}» to «{text}».",
            value=text,
        )
        for name, text in others.items()
    ]
    detail = f"Somebody changed this meanwhile: {', '.join(label.values())}. Compare, then save again."
    raise Problem("changed_meanwhile", detail, status=409, errors=told)
