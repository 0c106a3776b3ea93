"""The body of a visit as a device sends it: shapes, and what of it cannot be parsed.

Only what cannot be parsed is refused here (wrong type, NaN, a time without a zone, broken structure). Bad
news is data: implausible values, odd orders and unknown trims pass, and the judging says so. Members nobody
knows are kept with the record and named in the answer.
"""

import math
from collections.abc import Iterator
from functools import cache
from typing import Annotated, Any, Literal, get_args, get_origin
from uuid import UUID

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
)

from common.parsing import Measured, Moment, PlainText, invalid, refusal
from common.problems import field_error, pointer
from fleet.models import FuelSlug
from visits.models import Kind, Outcome, Phase

ROWS = ("tests", "adjustments", "temporary_changes", "plant_settings", "items", "parts")


Text = Annotated[PlainText, Field(max_length=400)]
LongText = Annotated[PlainText, Field(max_length=20_000)]
Key = Annotated[PlainText, Field(min_length=1, max_length=64)]
Name = Annotated[PlainText, Field(min_length=1, max_length=120)]

DEEPEST = 64
"""Levels of a member that nobody knows. The reader stops at 200; a stored body stands inside an answer."""


class _Member(BaseModel):
    model_config = ConfigDict(strict=True, extra="allow", frozen=True)


class ReadingIn(_Member):
    """One timed row of measured values; units are in the names (docs/data-dictionary.md)."""

    at: Moment | None = None
    co2_pct: Measured | None = None
    o2_pct: Measured | None = None
    co_ppm: Measured | None = None
    nox_ppm: Measured | None = None
    flue_temp_c: Measured | None = None
    air_temp_c: Measured | None = None
    flow_temp_c: Measured | None = None
    return_temp_c: Measured | None = None
    inlet_pressure_mbar: Measured | None = None
    gas_rate_m3_h: Measured | None = None
    flame_signal_ua: Measured | None = None
    fan_rpm: Measured | None = None
    ambient_co_ppm: Measured | None = None


class _RowIn(_Member):
    key: Key
    withdrawn_reason: Annotated[PlainText, Field(min_length=1, max_length=200)] | None = None


class TestIn(_RowIn):
    """One firing test with its readings. `burner` is a UUID or a position; absent, the first burner."""

    __test__ = False  # not a test case, whatever its name begins with

    burner: UUID | Annotated[int, Field(ge=1, le=99)] | None = None
    point: Literal["high", "low", "percent"] | None = None
    percent: Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)] | None = None
    phase: Literal[tuple(Phase.values)] | None = None  # type: ignore[valid-type]
    sequence: Annotated[int, Field(ge=0, le=100_000)] | None = None
    settled_stated: bool = False
    forced_at: Moment | None = None
    moved_before: bool | None = None
    fuel: Literal[tuple(FuelSlug.values)] | None = None  # type: ignore[valid-type]
    co2_source: Literal["measured", "derived"] | None = None
    readings: Annotated[list[ReadingIn], Field(max_length=20_000)] = []


class AdjustmentIn(_RowIn):
    """One move of a trim as seen."""

    burner: UUID | Annotated[int, Field(ge=1, le=99)] | None = None
    trim: Annotated[PlainText, Field(min_length=1, max_length=40)] | None = None
    at: Moment | None = None
    direction: Annotated[PlainText, Field(max_length=20)] | None = None
    turns: Measured | None = None
    marks: Measured | None = None
    before_test: Key | None = None
    after_test: Key | None = None


class TemporaryChangeIn(_RowIn):
    """A setting altered for the test."""

    what: Name | None = None
    was: Annotated[PlainText, Field(max_length=120)] | None = None
    set_to: Annotated[PlainText, Field(max_length=120)] | None = None
    changed_at: Moment | None = None
    put_back_at: Moment | None = None
    reason: Text | None = None


class PlantSettingIn(_RowIn):
    """A setting of one unit of the plant, before and after the attendance."""

    unit: Name | None = None
    setting: Name | None = None
    before: Annotated[PlainText, Field(max_length=120)] | None = None
    after: Annotated[PlainText, Field(max_length=120)] | None = None
    reason: Text | None = None


class ItemIn(_RowIn):
    """One item of the visit's list; `code` as in the item sets."""

    code: Annotated[PlainText, Field(min_length=1, max_length=60)] | None = None
    state: Literal["done", "not_done", "not_applicable"] | None = None
    number: Measured | None = None
    unit: Annotated[PlainText, Field(max_length=20)] | None = None
    choice: Annotated[PlainText, Field(max_length=60)] | None = None
    reason: Text | None = None
    note: Text | None = None
    at: Moment | None = None


class PartIn(_RowIn):
    """A part fitted on a burner: its trims start a new state."""

    burner: UUID | Annotated[int, Field(ge=1, le=99)] | None = None
    part: Annotated[PlainText, Field(min_length=1, max_length=80)] | None = None
    fitted_at: Moment | None = None


class VisitIn(_Member):
    """A whole visit as one device knows it."""

    save_no: Annotated[int, Field(ge=1, le=2**53)]
    appliance: Name
    attendance: UUID | None = None
    kind: Literal[tuple(Kind.values)]  # type: ignore[valid-type]
    fuel: Literal[tuple(FuelSlug.values)] | None = None  # type: ignore[valid-type]
    analyser: Name | None = None
    analyser_text: Annotated[PlainText, Field(max_length=120)] | None = None
    opened_at: Moment
    closed_at: Moment | None = None
    outcome: Literal[tuple(Outcome.values)] | None = None  # type: ignore[valid-type]
    tests: Annotated[list[TestIn], Field(max_length=500)] = []
    adjustments: Annotated[list[AdjustmentIn], Field(max_length=500)] = []
    temporary_changes: Annotated[list[TemporaryChangeIn], Field(max_length=500)] = []
    plant_settings: Annotated[list[PlantSettingIn], Field(max_length=500)] = []
    items: Annotated[list[ItemIn], Field(max_length=500)] = []
    parts: Annotated[list[PartIn], Field(max_length=100)] = []
    notes: LongText | None = None
    take_over: Annotated[list[Annotated[PlainText, Field(max_length=100)]], Field(max_length=500)] = []
    """Rows (`items/gas_filter`) and members (`notes`) of another device that a person put their own over."""

    def unknown_members(self) -> list[str]:
        """JSON pointers of members that are kept with the record but that nothing reads."""
        return sorted(pointer(path) for path, _ in _extras(self, []))


NEEDED: dict[str, tuple[str, ...]] = {
    "tests": ("point", "phase"),
    "adjustments": ("trim",),
    "temporary_changes": ("what",),
    "plant_settings": ("unit", "setting"),
    "items": ("code", "state"),
    "parts": ("part",),
}


def visit_parse(raw: bytes) -> VisitIn:
    """The body, checked. Raises Problem `invalid` with every refused field, or `not_json`."""
    try:
        body = VisitIn.model_validate_json(raw)
    except ValidationError as error:
        raise refusal(error) from error
    errors = [*_missing(body), *_twins(body), *_half_closed(body), *_not_keepable(body)]
    if errors:
        raise invalid(errors)
    return body


def _missing(body: VisitIn) -> Iterator[dict[str, Any]]:
    """A row needs its members, unless it only says that it is withdrawn."""
    for rows, needed in NEEDED.items():
        for index, row in enumerate(getattr(body, rows)):
            for member in needed if row.withdrawn_reason is None else ():
                if getattr(row, member) is None:
                    yield field_error(
                        pointer([rows, index, member]),
                        "required",
                        "This member is required.",
                        limit="present",
                    )


def _twins(body: VisitIn) -> Iterator[dict[str, Any]]:
    for rows in ROWS:
        seen: set[str] = set()
        for index, row in enumerate(getattr(body, rows)):
            if row.key in seen:
                yield field_error(
                    pointer([rows, index, "key"]),
                    "key_twice",
                    "Each row of one list needs a key of its own.",
                    value=row.key,
                    limit="unique",
                )
            seen.add(row.key)


def _half_closed(body: VisitIn) -> Iterator[dict[str, Any]]:
    if (body.closed_at is None) != (body.outcome is None):
        missing = "outcome" if body.outcome is None else "closed_at"
        yield field_error(
            pointer([missing]),
            "required",
            "A visit is closed with a time and an outcome together.",
            limit="closed_at and outcome, or neither",
        )


def _not_keepable(body: VisitIn) -> Iterator[dict[str, Any]]:
    """What could not be kept with the members that nobody knows: NaN and infinities, which are no JSON, and
    nesting that could be written and not be read again."""
    for path, value in _extras(body, []):
        if _depth(value) > DEEPEST:
            yield field_error(
                pointer(path), "too_deep", "Nested too deep.", limit=f"{DEEPEST} levels of lists and objects"
            )
            continue
        for inner, number in _numbers(value, path):
            if not math.isfinite(number):
                yield field_error(
                    pointer(inner), "not_finite", "Send a finite number.", value=str(number), limit="finite"
                )


def _depth(value: Any) -> int:
    """Levels of lists and objects, each in the other."""
    if not isinstance(value, dict | list):
        return 0
    return 1 + max(map(_depth, value.values() if isinstance(value, dict) else value), default=0)


def _numbers(value: Any, path: list[str | int]) -> Iterator[tuple[list[str | int], float]]:
    if isinstance(value, float):
        yield path, value
    elif isinstance(value, dict | list):
        for step, item in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _numbers(item, [*path, step])


def _extras(member: BaseModel, path: list[str | int]) -> Iterator[tuple[list[str | int], Any]]:
    """Place and value of every member that nobody knows."""
    for name, value in (member.model_extra or {}).items():
        yield [*path, name], value
    for name in _lists_of(type(member)):
        for index, item in enumerate(getattr(member, name)):
            yield from _extras(item, [*path, name, index])


@cache
def _lists_of(kind: type[BaseModel]) -> tuple[str, ...]:
    """Names of the members that hold rows."""
    return tuple(
        name
        for name, field in kind.model_fields.items()
        if get_origin(field.annotation) is list and isinstance(get_args(field.annotation)[0], type)
    )
