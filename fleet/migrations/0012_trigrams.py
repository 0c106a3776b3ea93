"""Indexes that let the finder look inside names, addresses, tags and serials; PostgreSQL only.

SQLite reads the table, which is quick at the size SQLite is for. Where the database's owner may not create the
extension the finder works all the same, only slower, and the migration says so.
"""

import logging

from django.db import ProgrammingError, migrations, transaction

COLUMNS = (
    ("fleet_customer", "name"),
    ("fleet_site", "name"),
    ("fleet_site", "address"),
    ("fleet_plant", "name"),
    ("fleet_appliance", "tag"),
    ("fleet_appliance", "serial"),
    ("fleet_burner", "name"),
)


def create(apps, schema_editor):
    if schema_editor.connection.vendor != "postgresql":
        return
    try:
        with transaction.atomic(using=schema_editor.connection.alias):
            schema_editor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
    except ProgrammingError as error:
        logging.getLogger(__name__).warning("The finder goes without trigram indexes: %s", error)
        return
    for table, column in COLUMNS:
        # the same expression as Django writes for «icontains»
        schema_editor.execute(
            f"CREATE INDEX IF NOT EXISTS {table}_{column}_trigrams ON {table} "
            f"USING gin (upper({column}::text) gin_trgm_ops)"
        )


def drop(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        for table, column in COLUMNS:
            schema_editor.execute(f"DROP INDEX IF EXISTS {table}_{column}_trigrams")


class Migration(migrations.Migration):
    dependencies = [("fleet", "0011_shipped_safety_categories")]
    operations = [migrations.RunPython(create, drop)]
