"""Shapes of the answers, for the description of the API."""

from typing import Annotated, Any, Literal
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


class OtherPoint(BaseModel):
    """The firing point that a trim is not set at, and what it will read after the move."""

    point: str
    expected_co2_pct: float | None


class Evidence(BaseModel):
    """Recorded moves of the model that an amount rests on, and why the way only where that is all."""

    moves: int
    burners: int
    way_only: bool
    why: str


class SeasonNote(BaseModel):
    """CO2 to expect at the site's design air of a season, trims untouched. Never what is set to."""

    season: Literal["winter", "summer"]
    air_temp_c: float
    point: str
    expected_co2_pct: float
    inside_acceptance: bool | None


class AdviceAnswer(BaseModel):
    """What to do at one burner.

    Members after `limit` come with `move_trim`, `season` with `leave_it` too; `value` and `limit`, in `unit`,
    with `pressure_first` and `gas_rate_first`.
    """

    code: str
    text: str
    burner: int | None
    trim: str | None = None
    value: float | None = None
    limit: float | None = None
    co2: Literal["lower", "raise"] | None = None
    aim_co2_pct: float | None = None
    turn: Literal["clockwise", "anticlockwise"] | None = None
    tool: str | None = None
    where: str | None = None
    amount: float | None = None
    amount_low: float | None = None
    amount_high: float | None = None
    unit: Literal["turn", "mark", "mbar", "kW"] | None = None
    step_limit: float | None = None
    expected_co2_pct: float | None = None
    expected_low: float | None = None
    expected_high: float | None = None
    other_point: OtherPoint | None = None
    evidence: Evidence | None = None
    season: list[SeasonNote] = []


class JudgedAgainAnswer(BaseModel):
    """One later judgement that came out differently: why, what was taken off the readings, what changed."""

    at: str
    cause: Literal["bias", "engine", "specs", "limits", "gas", "asked"]
    bias_run: int | None
    bias_co2_pct: float | None
    bias_u_co2_pct: float | None
    was_bias_run: int | None
    engine_version: int
    tests: list[dict[str, str]]
    health: dict[str, list[float | None]]
    came: list[str]
    went: list[str]
    sentence: str


class VisitAnswer(VisitIn):
    """The visit as it now stands, judged. `save_no` and `ignored` come in the answer to a save.

    `judged_again` is told when the visit is read, not with a save.
    """

    save_no: int | None = None  # type: ignore[assignment]
    uuid: str
    revision: int
    closed: bool
    uncountersigned: bool
    received_at: str | None
    findings: list[FindingAnswer]
    advice: list[AdviceAnswer]
    not_put_back: list[dict[str, Any]]
    health: Health
    results: dict[str, dict[str, Any]]
    ignored: list[str] = []
    judged_again: list[JudgedAgainAnswer] = []
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


class Caution(BaseModel):
    """A finding that stands before everything else."""

    code: str
    sentence: str
    what_to_do: str


class StepNow(BaseModel):
    """The next step in the order of work, and the caution that belongs to it."""

    code: Literal["make_safe", "closed", "wait", "as_found", "adjust", "as_left", "put_back", "close"]
    text: str
    burner: str | int | None
    point: str | None
    phase: str | None
    caution: str


class ReadingNow(BaseModel):
    """The newest test's CO2 (dry, vol %) against target and acceptance."""

    test: str
    burner: str | int | None
    point: str
    phase: str
    co2_pct: float | None
    u_co2_pct: float | None
    target_co2_pct: list[float] | None
    acceptance_co2_pct: list[float] | None
    p_inside: float | None
    verdict: str


class VisitNow(BaseModel):
    """What the technician needs now. `to_go_s` counts from the newest test's last reading."""

    cautions: list[Caution]
    step: StepNow
    do: str
    settled: bool | None
    to_go_s: float | None
    why_not_settled: str | None
    reading: ReadingNow | None
    advice: list[dict[str, Any]]
    not_put_back: list[str]
    revision: int
    closed: bool
    caution: str
