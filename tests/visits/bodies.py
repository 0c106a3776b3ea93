"""Bodies of visits as devices send them, and what is read off their answers."""

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
    """One firing test with one typed reading, stated as settled. A value of None is left out."""
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


def closed(body: dict[str, Any], **members: Any) -> dict[str, Any]:
    """The body, closed as completed."""
    return {**body, "closed_at": CLOSED, "outcome": "completed", **members}


def move(key: str, minute: int, trim: str = "throttle", **members: Any) -> dict[str, Any]:
    """One move of a trim."""
    return {
        "key": key,
        "trim": trim,
        "at": f"2026-03-02T09:{minute:02}:00Z",
        "direction": "clockwise",
        **members,
    }


def codes(answer: dict[str, Any]) -> set[str]:
    """The codes of the findings in an answer."""
    return {finding["code"] for finding in answer["findings"]}


def finding(answer: dict[str, Any], code: str, subject: str | None = None) -> dict[str, Any]:
    """The one finding with this code, of this subject where one is given."""
    (row,) = [row for row in answer["findings"] if row["code"] == code and subject in (None, row["subject"])]
    return row
