"""Insert many rows, or rewrite those that are there, in one plain statement.

`bulk_create` resolves every value as an expression; rows of plain values need none of that, and the record's
rows are many and wide. Works alike on PostgreSQL and SQLite.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any

from django.db import connection, models

# PostgreSQL takes 65,535 parameters in a statement and SQLite 32,766.
MAX_PARAMETERS = 32_000


def upsert(
    rows: Iterable[models.Model],
    *,
    model: type[models.Model],
    identity: Sequence[str],
    renew: Sequence[str] | None = None,
) -> None:
    """Insert rows of one model and set their primary keys; where `identity` is taken, rewrite `renew`.

    identity: names of the fields of a unique constraint.   renew: fields to rewrite, all others by default.
    Values must be plain: no expressions, no defaults that the database gives.
    """
    fields = [field for field in model._meta.concrete_fields if not field.primary_key]
    kept = set(identity)
    renewed = [f for f in fields if f.name not in kept and (renew is None or f.name in renew)]
    head, tail = _statement(model, fields, [model._meta.get_field(name) for name in identity], renewed)
    place = f"({', '.join(['%s'] * len(fields))})"
    for batch in _batches(rows, MAX_PARAMETERS // len(fields)):
        params = [value for row in batch for value in _values(row, fields)]
        with connection.cursor() as cursor:
            cursor.execute(f"{head}{', '.join([place] * len(batch))}{tail}", params)
            for row, (key,) in zip(batch, cursor.fetchall(), strict=True):
                row.pk = key
                row._state.adding = False


def _statement(
    model: type[models.Model], fields: Sequence[Any], identity: Sequence[Any], renewed: Sequence[Any]
) -> tuple[str, str]:
    quote = connection.ops.quote_name
    columns = ", ".join(quote(field.column) for field in fields)
    target = ", ".join(quote(field.column) for field in identity)
    changes = ", ".join(f"{quote(f.column)} = EXCLUDED.{quote(f.column)}" for f in renewed)
    head = f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES "  # noqa: S608 - names of our models
    return head, f" ON CONFLICT ({target}) DO UPDATE SET {changes} RETURNING {quote('id')}"


def _values(row: models.Model, fields: Sequence[Any]) -> Iterator[Any]:
    row._prepare_related_fields_for_save(operation_name="upsert")  # type: ignore[attr-defined]
    for field in fields:
        yield field.get_db_prep_save(getattr(row, field.attname), connection)


def _batches(rows: Iterable[models.Model], size: int) -> Iterator[list[models.Model]]:
    remaining = iter(rows)
    while batch := list(islice(remaining, size)):
        yield batch
