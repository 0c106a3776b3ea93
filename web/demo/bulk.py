"""The fast way in: rows with their keys chosen beforehand, a whole table at a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection, models
from django.db.models import Max

from visits.history.bulk import rows_write


def keys_reserve(model: type[models.Model], count: int) -> list[int]:
    """`count` primary keys that nobody else will get, in order.

    On PostgreSQL from the table's sequence; on SQLite the next numbers, which the open transaction guards.
    """
    if count == 0:
        return []
    if connection.vendor != "postgresql":
        highest = model._default_manager.aggregate(highest=Max("pk"))["highest"] or 0
        return list(range(highest + 1, highest + 1 + count))
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)",
            [model._meta.db_table, count],
        )
        return sorted(key for (key,) in cursor.fetchall())


def table_write(model: type[models.Model], columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Insert rows given in the order of `columns`; every other column gets its own default."""
    given = set(columns)
    rest = [
        field
        for field in model._meta.concrete_fields
        if not {field.name, field.attname} & given and not field.has_db_default() and not field.primary_key
    ]
    tail = tuple(_default(field) for field in rest)
    names = [*columns, *(field.attname for field in rest)]
    rows_write(model, names, (tuple(row) + tail for row in rows))


def _default(field: models.Field[Any, Any]) -> Any:
    value = field.get_default()
    return field.get_db_prep_save(value, connection) if connection.vendor == "postgresql" else value
