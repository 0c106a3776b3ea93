"""How a benchmark states what it measured."""

from typing import Any


def at_most(name: str, value: float, unit: str, target: float, why: str = "") -> dict[str, Any]:
    """A row whose value should not pass the target; where it does, with what is known of why."""
    row: dict[str, Any] = {"name": name, "value": value, "unit": unit, "target": target, "better": "less"}
    row["met"] = value <= target
    if not row["met"]:
        row["reason"] = why or "measured on this machine as it was"
    return row
