"""JSON bodies read by pydantic, and what of them is refused, as problem details."""

from datetime import datetime
from typing import Annotated, Any

from django.core.exceptions import RequestDataTooBig
from pydantic import AfterValidator, AwareDatetime, BeforeValidator, Field, ValidationError
from pydantic_core import PydanticCustomError
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.request import Request

from common.constraints import MEASURED_LIMIT
from common.problems import Problem, field_error, pointer

JSON_TYPE = "application/json"


def _no_nul(text: str) -> str:
    if "\x00" in text:
        raise ValueError("text must not hold the character U+0000")
    return text


PlainText = Annotated[str, AfterValidator(_no_nul)]
Measured = Annotated[float, Field(gt=-MEASURED_LIMIT, lt=MEASURED_LIMIT, allow_inf_nan=False)]

FIRST_YEAR, LAST_YEAR = 1900, 2099


def _iso_text(value: Any) -> Any:
    """Only a text with a time of day: seconds since 1970, as a number or in a text, name no zone."""
    if not isinstance(value, str) or ":" not in value:
        raise PydanticCustomError("timezone_aware", "Send an ISO 8601 time with a zone")
    return value


def _within_calendar(moment: datetime) -> datetime:
    """Every zone's local day and every difference of two times must exist; a clock that is off may be."""
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise PydanticCustomError(
            "out_of_range", "The year is out of range", {"years": f"years {FIRST_YEAR} to {LAST_YEAR}"}
        )
    return moment


Moment = Annotated[
    AwareDatetime, Field(strict=False), BeforeValidator(_iso_text), AfterValidator(_within_calendar)
]

_UNION_ARMS = {"uuid", "constrained-int"}
_CODES = {
    "missing": "required",
    "extra_forbidden": "unknown_member",
    "finite_number": "not_finite",
    "timezone_aware": "zone_missing",
    "literal_error": "unknown_value",
    "greater_than": "out_of_range",
    "less_than": "out_of_range",
    "greater_than_equal": "out_of_range",
    "less_than_equal": "out_of_range",
}
_LIMITS = {
    "extra_forbidden": "a member that this address knows",
    "finite_number": f"finite, absolute value under {MEASURED_LIMIT:g}",
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "a text",
    "bool_type": "true or false",
    "list_type": "a list",
    "dict_type": "an object",
    "model_type": "an object",
    "missing": "present",
    "timezone_aware": "ISO 8601 with a zone",
    "datetime_parsing": "ISO 8601 with a zone",
    "datetime_from_date_parsing": "ISO 8601 with a zone",
    "datetime_type": "ISO 8601 with a zone",
    "uuid_parsing": "a UUID",
    "uuid_type": "a UUID",
}


def raw_json(request: Request) -> bytes:
    """The body as it came. Refuses other media types, codings, and bodies over the server's limit."""
    if request.content_type.split(";")[0].strip().lower() != JSON_TYPE:
        raise UnsupportedMediaType(request.content_type)
    coding = request.headers.get("Content-Encoding", "identity")
    if coding.strip().lower() != "identity":
        raise UnsupportedMediaType(f"{request.content_type}, {coding}")
    try:
        return request._request.body
    except RequestDataTooBig as error:
        raise Problem("too_large", "The body is larger than this server takes.", status=413) from error


def refusal(error: ValidationError) -> Problem:
    """Problem `invalid` with every refused field once, or `not_json`."""
    rows = error.errors(include_url=False)
    if rows[0]["type"] == "json_invalid":
        return Problem("not_json", f"The body is not JSON: {rows[0]['ctx']['error']}.")
    errors: dict[str, dict[str, Any]] = {}
    for row in rows:
        field = pointer([part for part in row["loc"] if part not in _UNION_ARMS])
        # A union of types fails once per type; the first says enough.
        errors.setdefault(
            field,
            field_error(
                field,
                _CODES.get(row["type"], row["type"]),
                row["msg"],
                value=short_value(row.get("input")),
                limit=_limit(row),
            ),
        )
    return invalid(list(errors.values()))


def invalid(errors: list[dict[str, Any]]) -> Problem:
    """Problem `invalid` with these refused fields."""
    count = len(errors)
    summary = (
        "One field cannot be taken as it is."
        if count == 1
        else f"{count} fields cannot be taken as they are."
    )
    return Problem("invalid", summary, errors=errors)


def short_value(value: Any) -> Any:
    """A refused value as it can stand in an answer: finite, and short."""
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return str(value)
    if isinstance(value, str | int | float | bool) or value is None:
        return value if len(str(value)) <= 200 else f"{str(value)[:200]}…"
    return f"a {type(value).__name__}"


def _limit(row: Any) -> Any:
    context = dict(row.get("ctx", {}))
    context.pop("error", None)
    return _LIMITS.get(row["type"], next(iter(context.values()), None))
