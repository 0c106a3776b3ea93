"""A small fleet in PostgreSQL made large: its rows copied with other keys, in a few statements a table."""

from __future__ import annotations

from django.apps import apps
from django.db import connection, models, transaction

ROOT = "fleet.Customer"
"""What has a foreign key to it, or to what has one, grows with the fleet; all else a firm has but once."""


def multiply(copies: int) -> dict[str, int]:
    """Make `copies` of everything that grows with the fleet; returns how many rows each table now has.

    Keys of copy k are those of the first plus k times the highest; text that must be unique gets "-k" behind,
    UUIDs are drawn from the first's. Foreign keys are not checked: the rows are right by construction.
    """
    growing = _growing()
    tables = {model._meta.db_table for model in growing}
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        step = {table: _highest(cursor, table) for table in tables}
        for model in growing:
            cursor.execute(_statement(model, step), [copies])
        for table in tables:
            last = _highest(cursor, table) + 1
            cursor.execute("SELECT setval(pg_get_serial_sequence(%s, 'id'), %s)", [table, last])
        counts = {}
        for table in sorted(tables):
            cursor.execute(f"SELECT count(*) FROM {table}")  # noqa: S608  the name is the model's own
            counts[table] = cursor.fetchone()[0]
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return counts


def _growing() -> list[type[models.Model]]:
    growing = [apps.get_model(ROOT)]
    everything = apps.get_models(include_auto_created=True)
    while found := [m for m in everything if m not in growing and _related(m) & set(growing)]:
        growing.extend(found)
    return growing


def _related(model: type[models.Model]) -> set[type[models.Model]]:
    return {
        field.remote_field.model
        for field in model._meta.local_concrete_fields
        if field.remote_field is not None
    }


def _highest(cursor, table: str) -> int:
    cursor.execute(f"SELECT coalesce(max(id), 0) FROM {table}")  # noqa: S608
    return int(cursor.fetchone()[0])


def _statement(model: type[models.Model], step: dict[str, int]) -> str:
    unique = _unique_fields(model, step)
    names, values, above = [], [], []
    for field in model._meta.local_concrete_fields:
        column = f't."{field.column}"'
        names.append(f'"{field.column}"')
        if field.primary_key:
            values.append(f"{column} + n.k * {step[model._meta.db_table]}")
        elif field.remote_field and field.remote_field.model._meta.db_table in step:
            values.append(f"{column} + n.k * {step[field.remote_field.model._meta.db_table]}")
            above.append(f"{column} IS NOT NULL")
        elif isinstance(field, models.UUIDField):
            values.append(f"md5({column}::text || n.k)::uuid")
        elif isinstance(field, models.CharField) and field.name in unique:
            values.append(f"CASE WHEN {column} = '' THEN '' ELSE {column} || '-' || n.k END")
        else:
            values.append(column)
    table = model._meta.db_table
    return (
        f'INSERT INTO "{table}" ({", ".join(names)}) SELECT {", ".join(values)} '  # noqa: S608
        f'FROM "{table}" t, generate_series(1, %s) AS n(k) '
        f"WHERE {' OR '.join(above) or 'true'} ORDER BY n.k, t.id"
    )


def _unique_fields(model: type[models.Model], step: dict[str, int]) -> set[str]:
    """Fields that must differ between copies: of unique sets that hold no key which differs already."""
    fields = {field.name: field for field in model._meta.local_concrete_fields}
    sets = [(field.name,) for field in fields.values() if field.unique and not field.primary_key]
    sets += [c.fields for c in model._meta.constraints if isinstance(c, models.UniqueConstraint)]

    def differs(name: str) -> bool:
        remote = fields[name].remote_field
        return remote is not None and remote.model._meta.db_table in step

    return {name for names in sets if not any(map(differs, names)) for name in names}
