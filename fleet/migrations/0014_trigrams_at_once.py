"""The trigram indexes take each row as it is written.

By default PostgreSQL gathers new rows in a list beside such an index, which every search reads whole until the
next vacuum: after a large import each question took ten times as long.
"""

from importlib import import_module

from django.db import migrations

COLUMNS = import_module("fleet.migrations.0012_trigrams").COLUMNS


def _set(schema_editor, fastupdate):
    if schema_editor.connection.vendor != "postgresql":
        return
    with schema_editor.connection.cursor() as cursor:
        for table, column in COLUMNS:
            name = f"{table}_{column}_trigrams"
            cursor.execute("SELECT to_regclass(%s) IS NOT NULL", [name])
            if cursor.fetchone()[0]:
                cursor.execute(f"ALTER INDEX {name} SET (fastupdate = {fastupdate})")
                cursor.execute("SELECT gin_clean_pending_list(%s::regclass)", [name])


def at_once(apps, schema_editor):
    _set(schema_editor, "off")


def gathered(apps, schema_editor):
    _set(schema_editor, "on")


class Migration(migrations.Migration):
    dependencies = [("fleet", "0013_applied_bias")]
    operations = [migrations.RunPython(at_once, gathered)]
