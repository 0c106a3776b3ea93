"""Insert or rewrite many rows in one plain statement.

The ORM's bulk methods resolve every value as an expression; rows of plain values need none of that, and the
record's rows are many and wide. On PostgreSQL the values travel as one array a column, so that a statement
has the same text for one row as for a thousand and is prepared once; elsewhere as rows of values.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice
from typing import Any

from django.db import connection, models

ROWS_AT_ONCE = 2000
SQLITE_PARAMETERS = 32_000  # it takes 32,766 in a statement


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
    _insert_all(
        rows, _insertion(connection.vendor, model, tuple(identity), None if renew is None else tuple(renew))
    )


def insert(rows: Iterable[models.Model], *, model: type[models.Model]) -> None:
    """Insert rows of one model and set their primary keys. Raises IntegrityError where one is taken.

    Values must be plain, as for `upsert`.
    """
    _insert_all(rows, _insertion(connection.vendor, model, None, None))


def _insert_all(rows: Iterable[models.Model], statement: "_Statement") -> None:
    for batch in _batches(rows, len(statement.fields)):
        with connection.cursor() as cursor:
            cursor.execute(*statement.filled(batch))
            for row, (key,) in zip(batch, cursor.fetchall(), strict=True):
                row.pk = key
                row._state.adding = False


def rewrite(rows: Iterable[models.Model], *, model: type[models.Model], fields: Sequence[str]) -> None:
    """Rewrite some columns of stored rows, each with its own values, by primary key."""
    statement = _rewriting(connection.vendor, model, tuple(fields))
    for batch in _batches(rows, len(statement.fields)):
        with connection.cursor() as cursor:
            cursor.execute(*statement.filled(batch))


@dataclass(frozen=True)
class _Statement:
    """A statement around its rows, and the fields whose values a row stands for."""

    fields: tuple[Any, ...]
    head: str
    rows: str
    tail: str

    def filled(self, batch: Sequence[models.Model]) -> tuple[str, list[Any]]:
        """The text for this many rows, and its parameters."""
        values = [_values(row, self.fields) for row in batch]
        if connection.vendor == "postgresql":
            columns = [list(column) for column in zip(*values, strict=True)]
            return f"{self.head}{self.rows}{self.tail}", columns
        places = ", ".join([self.rows] * len(batch))
        return f"{self.head}VALUES {places}{self.tail}", [value for row in values for value in row]


@cache
def _insertion(
    vendor: str,
    model: type[models.Model],
    identity: tuple[str, ...] | None,
    renew: tuple[str, ...] | None,
) -> _Statement:
    """Without an identity a plain insert, which fails on a row that is taken."""
    fields = tuple(field for field in model._meta.concrete_fields if not field.primary_key)
    conflict = ""
    if identity is not None:
        renewed = [f for f in fields if f.name not in identity and (renew is None or f.name in renew)]
        target = _names([model._meta.get_field(name) for name in identity])
        changes = ", ".join(f"{name} = EXCLUDED.{name}" for name in (_quoted(field) for field in renewed))
        conflict = f" ON CONFLICT ({target}) DO UPDATE SET {changes}"
    return _Statement(
        fields,
        f"INSERT INTO {_table(model)} ({_names(fields)}) ",
        _rows_text(vendor, fields),
        f"{conflict} RETURNING id",
    )


@cache
def _rewriting(vendor: str, model: type[models.Model], names: tuple[str, ...]) -> _Statement:
    fields: tuple[Any, ...] = (model._meta.pk, *(model._meta.get_field(name) for name in names))
    changes = ", ".join(f"{name} = v.{name}" for name in (_quoted(field) for field in fields[1:]))
    return _Statement(
        fields,
        f"WITH v ({_names(fields)}) AS (",
        _rows_text(vendor, fields),
        f") UPDATE {_table(model)} AS t SET {changes} FROM v WHERE t.id = v.id",  # noqa: S608 - our own names
    )


def _rows_text(vendor: str, fields: Sequence[Any]) -> str:
    """All rows as arrays of columns, or one row as places for its values."""
    if vendor == "postgresql":
        arrays = ", ".join(f"%s::{field.rel_db_type(connection)}[]" for field in fields)
        return f"SELECT * FROM unnest({arrays})"  # noqa: S608 - types of our own columns
    return f"({', '.join(['%s'] * len(fields))})"


def _values(row: models.Model, fields: Sequence[Any]) -> list[Any]:
    row._prepare_related_fields_for_save(operation_name="upsert")  # type: ignore[attr-defined]
    values = [getattr(row, field.attname) for field in fields]
    # Most are measured values, which every database takes as they are.
    return [
        value if type(value) is float or value is None else field.get_db_prep_save(value, connection)
        for field, value in zip(fields, values, strict=True)
    ]


def _batches(rows: Iterable[models.Model], columns: int) -> Iterator[list[models.Model]]:
    size = ROWS_AT_ONCE if connection.vendor == "postgresql" else max(1, SQLITE_PARAMETERS // columns)
    remaining = iter(rows)
    while batch := list(islice(remaining, size)):
        yield batch


def _table(model: type[models.Model]) -> str:
    return connection.ops.quote_name(model._meta.db_table)


def _quoted(field: Any) -> str:
    return connection.ops.quote_name(field.column)


def _names(fields: Sequence[Any]) -> str:
    return ", ".join(_quoted(field) for field in fields)
