"""The shape of a service record over REST."""

from typing import Any

from pydantic import BaseModel


class RecordIssued(BaseModel):
    """What was handed out: its code, the SHA-256 of code, revision and content, and where to look it up."""

    code: str
    revision: int
    issued_at: str
    sha256: str
    check_at: str


class RecordPlace(BaseModel):
    """Where it was."""

    customer: str
    country: str
    site: str
    address: str
    plant: str
    zone: str


class RecordAttendance(BaseModel):
    """When, and whom they met."""

    uuid: str
    local_on: str
    arrived_at: str | None
    left_at: str | None
    contact: str
    signed_by: str
    signed_at: str | None


class RecordVisit(BaseModel):
    """One appliance: SI units, standard uncertainties (k = 1) as `u`."""

    uuid: str
    revision: int
    kind: str
    outcome: str
    outcome_text: str
    opened_at: str | None
    closed_at: str | None
    appliance: dict[str, Any]
    fuel: str
    technician: dict[str, Any] | None
    uncountersigned: bool
    countersigned: dict[str, Any] | None
    analyser: dict[str, Any]
    health: dict[str, dict[str, Any]]
    tests: list[dict[str, Any]]
    findings: list[dict[str, Any]]
    adjustments: list[dict[str, Any]]
    parts: list[dict[str, Any]]
    items: list[dict[str, Any]]
    changes: list[dict[str, Any]]
    settings: list[dict[str, Any]]
    safety: list[dict[str, Any]]
    notes: str
    corrections: list[dict[str, Any]]
    next_on: str | None


class RecordContent(BaseModel):
    """All that the record says. `open` names appliances whose visit is not closed and so not part of it."""

    format: int
    firm: dict[str, str]
    place: RecordPlace
    attendance: RecordAttendance
    visits: list[RecordVisit]
    open: list[str]


class RecordAnswer(BaseModel):
    """A service record. `issued` is null while nothing is closed or a visit of the day is still open."""

    issued: RecordIssued | None
    content: RecordContent
    caution: str
