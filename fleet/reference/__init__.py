"""Reference data that comes with the product, in files a person can read, and their way into the tables.

Each file is shipped once, by the migration that names it, so that a new database asks the right things and
nobody runs anything; what the office changed afterwards is never overwritten. A later list is a further
file with its own day in force, and a further migration: old visits stay judged by what was asked then.
"""

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
GAS_ANNUAL = "gas_annual_2000.toml"
SAFETY_CATEGORIES = "safety_categories.toml"
PUTTING_BACK = "putting_back.toml"
LOAD_ASSUMPTIONS = "load_assumptions.toml"


def reference_read(name: str) -> dict[str, Any]:
    """One file as plain values."""
    return tomllib.loads((HERE / name).read_text(encoding="utf-8"))


def item_sets_ship(name: str, item_set: Any, service_item: Any) -> int:
    """Add the sets of a file that are not there yet, with their items. Returns how many sets were added.

    item_set, service_item: the models, as they are or as a migration knows them.
    """
    added = 0
    for table in reference_read(name)["set"]:
        identity = {
            "kind": table.get("kind", ""),
            "country": table.get("country", ""),
            "in_force_on": date.fromisoformat(str(table["in_force_on"])),
            "model": None,
        }
        held, is_new = item_set.objects.get_or_create(**identity, defaults={"name": table["name"]})
        if not is_new:
            continue
        added += 1
        rows = [
            service_item(item_set=held, position=10 * place, **_item(row))
            for place, row in enumerate(table["item"], start=1)
        ]
        service_item.objects.bulk_create(rows)
    return added


def put_back_ship(name: str, suggestion: Any) -> int:
    """Add the suggestions of a file that are not there yet. Returns how many were added."""
    added = 0
    for row in reference_read(name)["suggestion"]:
        columns = {"source": "common practice, no source", "mark": "practice", **row}
        identity = {part: columns.pop(part, "") for part in ("code", "kind", "sequencing", "season")}
        _, is_new = suggestion.objects.get_or_create(**identity, model=None, defaults=columns)
        added += is_new
    return added


def safety_categories_ship(name: str, category: Any) -> int:
    """Add the categories of a file that are not there yet. Returns how many were added."""
    added = 0
    for row in reference_read(name)["category"]:
        columns = dict(row)
        identity = {"country": columns.pop("country", ""), "code": columns.pop("code")}
        added += category.objects.get_or_create(**identity, defaults=columns)[1]
    return added


def load_assumptions_ship(name: str, assumption: Any) -> int:
    """Add the assumptions of a file for kinds that have none yet. Returns how many were added."""
    rows = [dict(row) for row in reference_read(name)["assumption"]]
    return sum(assumption.objects.get_or_create(kind=row.pop("kind"), defaults=row)[1] for row in rows)


def _item(row: dict[str, Any]) -> dict[str, Any]:
    """A row of the file as columns. Choices are written «code | meaning | text»."""
    columns = dict(row)
    columns["choices"] = [_choice(text) for text in row.get("choices", ())]
    columns["answer"] = row.get("answer", "choice" if columns["choices"] else "tick")
    return columns


def _choice(text: str) -> dict[str, str]:
    code, means, words = (part.strip() for part in text.split("|"))
    return {"code": code, "means": means, "text": words}
