"""Shapes that answers of several apps share, for the description of the API."""

from typing import Any

from pydantic import BaseModel, ConfigDict


class FieldRefused(BaseModel):
    """One refused field: a JSON pointer (RFC 6901) into the body, its value, and the limit it broke."""

    field: str
    code: str
    detail: str
    value: Any = None
    limit: Any = None


class ProblemDetails(BaseModel):
    """Problem details (RFC 9457)."""

    model_config = ConfigDict(extra="allow")

    type: str
    title: str
    status: int
    code: str
    detail: str
    errors: list[FieldRefused] = []


class QuantityAnswer(BaseModel):
    """A quantity with its standard uncertainty (k = 1), or the code of why there is none."""

    value: float | None
    u: float | None
    why: str | None = None
