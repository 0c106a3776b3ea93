"""`make bench`: run every benchmark, print its rows as a table, and write them to bench.json.

On the database that DATABASE_URL names, else on a local PostgreSQL where one answers, else on SQLite. A
throw-away database is made and dropped. `python -m tests.benchmarks put import` runs only those.
"""

import importlib
import json
import os
import pkgutil
import sys
from pathlib import Path
from typing import Any

LOCAL_POSTGRES = "postgres://postgres@127.0.0.1:5432/flueledger_bench"
ORDER = ("combustion", "put", "batch", "import", "drift", "recompute", "pages")


def main(names: list[str]) -> None:
    """Run the named benchmarks, or all."""
    os.environ.setdefault("DATABASE_URL", _database_url())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.test")
    import django

    django.setup()
    from django.db import connection
    from django.test.runner import DiscoverRunner

    runner = DiscoverRunner(verbosity=0, interactive=False)
    databases = runner.setup_databases()
    print(f"database: {connection.vendor}, {os.cpu_count()} cores")
    rows: list[dict[str, Any]] = []
    try:
        for name in names or _all_names():
            rows.extend(_printed(importlib.import_module(f"tests.benchmarks.bench_{name}").rows()))
    finally:
        runner.teardown_databases(databases)
        Path("bench.json").write_text(json.dumps(rows, indent=1, ensure_ascii=False), encoding="utf-8")


def _printed(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    for row in rows:
        print(f"{row['name']:<70} {row['value']:>14,.4g} {row['unit']:<12} {_against(row)}")
    sys.stdout.flush()
    return rows


def _against(row: dict[str, Any]) -> str:
    """The aim and whether it was met; a row that others are compared with has none."""
    if row["target"] is None:
        return "to compare with"
    sign = "≥" if row["better"] == "more" else "≤"
    met = "met" if row["met"] else f"NOT MET: {row.get('reason', 'no reason given')}"
    return f"{sign} {row['target']:<12,.4g} {met}"


def _all_names() -> list[str]:
    found = [
        module.name.removeprefix("bench_")
        for module in pkgutil.iter_modules([str(Path(__file__).parent)])
        if module.name.startswith("bench_")
    ]
    return sorted(found, key=lambda name: (ORDER.index(name) if name in ORDER else len(ORDER), name))


def _database_url() -> str:
    import psycopg

    try:
        psycopg.connect(LOCAL_POSTGRES.rsplit("/", 1)[0] + "/postgres", connect_timeout=2).close()
    except psycopg.OperationalError:
        return "sqlite:///var/bench.sqlite3"
    return LOCAL_POSTGRES


if __name__ == "__main__":
    main(sys.argv[1:])
