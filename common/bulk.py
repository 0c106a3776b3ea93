"""Write many rows of one table at once: COPY on PostgreSQL, one prepared INSERT elsewhere."""

import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.db import connection, models

_JSONB_VERSION = "\x01"  # in its binary form a jsonb is this and the text


def keys_reserve(model: type[models.Model], count: int) -> list[int]:
    """`count` primary keys that nobody else will get, in order.

    On PostgreSQL from the table's sequence; on SQLite the next numbers, which the open transaction guards.
    """
    if count == 0:
        return []
    if connection.vendor != "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [model._meta.db_table])
            (highest,) = cursor.fetchone() or (0,)
        return list(range(highest + 1, highest + 1 + count))
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)",
            [model._meta.db_table, count],
        )
        return sorted(key for (key,) in cursor.fetchall())


def rows_write(model: type[models.Model], columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Insert rows given as values in the order of `columns`: names of fields, foreign keys as ids.

    Values are of the field's own Python type, JSON as its text. Fields left out get their default, one for
    all rows, or the database's. The database's constraints guard; Django's validation does not run. Raises
    IntegrityError as any insert does.
    """
    given: list[Any] = [model._meta.get_field(column) for column in columns]
    left_out = [
        field
        for field in model._meta.concrete_fields
        if field not in given and not field.primary_key and not field.has_db_default()
    ]
    fields = [*given, *left_out]
    defaults = [_default(field) for field in left_out]
    quote = connection.ops.quote_name
    names = ", ".join(quote(field.column) for field in fields)
    target = f"{quote(model._meta.db_table)} ({names})"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # Binary: a float costs a tenth of what its shortest decimals do, on either side.
            statement = f"COPY {target} FROM STDIN (FORMAT BINARY)"
            with connection.wrap_database_errors, cursor.copy(statement) as copy:
                copy.set_types([_binary_type(field) for field in fields])
                for row in _in_binary(fields, rows, defaults):
                    copy.write_row(row)
        else:
            places = ", ".join(["%s"] * len(fields))
            cursor.executemany(
                f"INSERT INTO {target} VALUES ({places})",  # noqa: S608 - names of our own tables, quoted
                [_prepared(fields, [*row, *defaults]) for row in rows],
            )


def _default(field: Any) -> Any:
    value = field.get_default()
    return json.dumps(value) if isinstance(field, models.JSONField) else value


def _binary_type(field: Any) -> str:
    """The database's type without a length; JSON goes as text with a version before it."""
    if isinstance(field, models.JSONField):
        return "text"
    name: str = field.rel_db_type(connection) if field.primary_key else field.db_type(connection)
    return name.partition("(")[0]


def _in_binary(
    fields: Sequence[Any], rows: Iterable[Sequence[Any]], defaults: Sequence[Any]
) -> Iterator[list[Any]]:
    json_places = [place for place, field in enumerate(fields) if isinstance(field, models.JSONField)]
    for values in rows:
        row = [*values, *defaults]
        for place in json_places:
            if row[place] is not None:
                row[place] = _JSONB_VERSION + row[place]
        yield row


def _prepared(fields: Sequence[Any], row: Sequence[Any]) -> list[Any]:
    """What SQLite takes: most values are measured ones, which it takes as they are."""
    return [
        value
        if value is None or type(value) is float or isinstance(field, models.JSONField)
        else field.get_db_prep_save(value, connection)
        for field, value in zip(fields, row, strict=True)
    ]
