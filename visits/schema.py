"""Shapes of the answers, for the description of the API."""

from typing import Annotated, Any
from uuid import UUID

from pydantic import BaseModel, Field

from common.schema import ProblemDetails
from visits.payload import VisitIn
from visits.saving.many import MOST_VISITS

PROBLEM = ProblemDetails


class FindingAnswer(BaseModel):
    """A named judgement."""

    code: str
    subject: str
    severity: str
    title: str
    sentence: str
    what_to_do: str
    value: float | None
    limit: float | None
    unit: str
    probability: float | None
    rests_on: dict[str, Any]


class HealthPhase(BaseModel):
    """Probability of being inside every limit that was checked, and which."""

    probability: float | None
    full: bool
    weakest: str
    checked: list[str]


class Health(BaseModel):
    """Combustion health as found and as left."""

    as_found: HealthPhase
    as_left: HealthPhase


class VisitAnswer(VisitIn):
    """The visit as it now stands, judged."""

    uuid: str
    revision: int
    closed: bool
    uncountersigned: bool
    received_at: str | None
    findings: list[FindingAnswer]
    advice: list[dict[str, Any]]
    not_put_back: list[dict[str, Any]]
    health: Health
    results: dict[str, dict[str, Any]]
    ignored: list[str]
    caution: str


class CorrectionIn(VisitIn):
    """The whole body again, and why."""

    reason: str


class BatchEntryIn(BaseModel):
    """One visit of a batch. `body` is what PUT takes; `if_match` what its header would say."""

    uuid: UUID
    body: VisitIn
    if_match: str | None = None


class BatchIn(BaseModel):
    """Many visits, each to be answered on its own."""

    visits: Annotated[list[BatchEntryIn], Field(min_length=1, max_length=MOST_VISITS)]


class BatchEntryAnswer(BaseModel):
    """The answer to one visit: with `answer` and `etag` where it is saved, with `problem` where it is not."""

    uuid: Any
    status: int
    etag: str | None = None
    answer: VisitAnswer | None = None
    problem: ProblemDetails | None = None


class BatchAnswer(BaseModel):
    """One answer per visit, in the order sent."""

    answers: list[BatchEntryAnswer]
