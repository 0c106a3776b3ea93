"""Insert or rewrite many rows in one plain statement.

The ORM's bulk methods resolve every value as an expression; rows of plain values need none of that, and the
record's rows are many and wide. On PostgreSQL all rows travel as one JSON text, so that a statement has the
same text for one row as for a thousand and is prepared once (as an array a column they cost two to three
times as much, most of it in Python); elsewhere as rows of values.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import islice
from typing import Any

from django.db import connection, models
from pydantic_core import to_json

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
    """A statement around its rows, and the fields whose values a row stands for, in this order."""

    fields: tuple[Any, ...]
    head: str
    rows: str
    tail: str

    def filled(self, batch: Sequence[models.Model]) -> tuple[str, list[Any]]:
        """The text for this many rows, and its parameters."""
        self._take_keys(batch)
        if connection.vendor == "postgresql":
            return f"{self.head}{self.rows}{self.tail}", [self._as_json(batch)]
        places = ", ".join([self.rows] * len(batch))
        return f"{self.head}VALUES {places}{self.tail}", [
            value for row in batch for value in self._prepared(row)
        ]

    def _take_keys(self, batch: Sequence[models.Model]) -> None:
        """Rows that were joined before they had a key: the key is taken now."""
        for field in self._relations:
            for row in batch:
                if vars(row)[field.attname] is None and field.is_cached(row):
                    # The relation as a whole: to set its key alone would forget what is joined.
                    setattr(row, field.name, getattr(row, field.name))

    def _as_json(self, batch: Sequence[models.Model]) -> str:
        """A list of objects by column. Dates, UUIDs and numbers are written as PostgreSQL reads them."""
        names = self._names
        records = [{column: values[name] for column, name in names} for values in map(vars, batch)]
        for column in self._binary:
            for record in records:
                record[column] = f"\\x{bytes(record[column]).hex()}"
        return to_json(records, inf_nan_mode="strings").decode()

    def _prepared(self, row: models.Model) -> list[Any]:
        # Most are measured values, which every database takes as they are.
        values = [(field, getattr(row, field.attname)) for field in self.fields]
        return [
            value if type(value) is float or value is None else field.get_db_prep_save(value, connection)
            for field, value in values
        ]

    @cached_property
    def _names(self) -> list[tuple[str, str]]:
        return [(field.column, field.attname) for field in self.fields]

    @cached_property
    def _relations(self) -> list[Any]:
        return [field for field in self.fields if field.is_relation]

    @cached_property
    def _binary(self) -> list[str]:
        return [str(field.column) for field in self.fields if isinstance(field, models.BinaryField)]


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
    """All rows out of one JSON text, or one row as places for its values."""
    if vendor == "postgresql":
        columns = ", ".join(f"{_quoted(field)} {field.rel_db_type(connection)}" for field in fields)
        return f"SELECT * FROM json_to_recordset(%s::json) AS r ({columns})"  # noqa: S608 - our own columns
    return f"({', '.join(['%s'] * len(fields))})"


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
