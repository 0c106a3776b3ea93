"""Bodies of visits as devices send them."""

import copy
from typing import Any

OPENED = "2026-03-02T09:00:00+00:00"
CLOSED = "2026-03-02T10:30:00+00:00"

READING = {
    "co2_pct": 9.0,
    "o2_pct": 4.86,
    "co_ppm": 22,
    "flue_temp_c": 58.0,
    "air_temp_c": 18.0,
    "inlet_pressure_mbar": 20.5,
}


def firing(key: str, point: str, phase: str, minute: int, **values: Any) -> dict[str, Any]:
    """One firing test with one typed reading, stated as settled."""
    reading = {"at": f"2026-03-02T09:{minute:02}:00+00:00", **READING, **values}
    return {
        "key": key,
        "point": point,
        "phase": phase,
        "sequence": minute,
        "settled_stated": True,
        "readings": [{name: value for name, value in reading.items() if value is not None}],
    }


def visit_body(appliance: Any, analyser: Any = None, **members: Any) -> dict[str, Any]:
    """An open annual service with both points as found."""
    body: dict[str, Any] = {
        "save_no": 1,
        "appliance": str(appliance.uuid),
        "kind": "annual_service",
        "opened_at": OPENED,
        "tests": [
            firing("found-high", "high", "as_found", 10),
            firing("found-low", "low", "as_found", 15, co2_pct=8.8, o2_pct=5.21),
        ],
    }
    if analyser is not None:
        body["analyser"] = str(analyser.uuid)
    return {**body, **copy.deepcopy(members)}
