"""Write many rows of one table at once: COPY on PostgreSQL, one prepared INSERT elsewhere."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection, models


def rows_write(model: type[models.Model], columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Insert rows given as values in the order of `columns` (fields' names; foreign keys as ids).

    Fields left out get their default, one for all rows, or the database's. The database's constraints guard;
    Django's validation does not run. Raises IntegrityError as any insert does.
    """
    given: list[Any] = [model._meta.get_field(column) for column in columns]
    left_out = [
        field
        for field in model._meta.concrete_fields
        if field not in given and not field.primary_key and not field.has_db_default()
    ]
    defaults = [field.get_db_prep_save(field.get_default(), connection) for field in left_out]
    quote = connection.ops.quote_name
    names = ", ".join(quote(field.column) for field in [*given, *left_out])
    target = f"{quote(model._meta.db_table)} ({names})"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {target} FROM STDIN") as copy:
                for row in rows:
                    copy.write_row([*row, *defaults])
        else:
            places = ", ".join(["%s"] * (len(given) + len(left_out)))
            cursor.executemany(
                f"INSERT INTO {target} VALUES ({places})",  # noqa: S608 - names of our own tables, quoted
                [[*_prepared(given, row), *defaults] for row in rows],
            )


def _prepared(fields: Sequence[Any], row: Sequence[Any]) -> list[Any]:
    return [field.get_db_prep_save(value, connection) for field, value in zip(fields, row, strict=True)]
