"""What the database's planner must be told."""

from django.db import connection, models


def tables_analyse(*written: type[models.Model]) -> None:
    """Have PostgreSQL count these tables anew after much was written: until then it plans for what they were.

    It would do so by itself, a minute or more later. SQLite is left alone.
    """
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        for model in written:
            cursor.execute(f"ANALYZE {connection.ops.quote_name(model._meta.db_table)}")
