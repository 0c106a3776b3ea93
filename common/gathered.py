"""Several prepared questions answered by one statement.

A save asks half a dozen small questions that wait for nothing of each other. On PostgreSQL they travel as one
statement, whose answer is one JSON text; elsewhere they are asked one by one. Either way the answers are the
same instances.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from typing import Any
from uuid import UUID

from django.db import connection, models
from pydantic_core import from_json

from common.prepared import Plan, Prepared

Rows = dict[str, list[Any]]
_FROM_JSON: tuple[tuple[type[models.Field[Any, Any]], Callable[[Any], Any]], ...] = (
    (models.DateTimeField, datetime.fromisoformat),
    (models.DateField, date.fromisoformat),
    (models.UUIDField, UUID),
    (models.DecimalField, lambda value: Decimal(str(value))),
    (models.FloatField, float),
    (models.BinaryField, lambda value: bytes.fromhex(value.removeprefix("\\x"))),
)
"""What JSON has no value for of its own; the first that fits a column counts."""


class Gathered:
    """Prepared querysets by name. Their binds share one set of values."""

    def __init__(self, **questions: Prepared[Any]) -> None:
        self._questions = questions

    def __call__(self, **values: Any) -> Rows:
        """The instances that each gives, by its name."""
        if connection.vendor != "postgresql":
            return {name: asked(**values) for name, asked in self._questions.items()}
        plans = self._plans
        params = [param for plan in plans.values() for param in plan.bound(values)]
        with connection.cursor() as cursor:
            cursor.execute(self._sql, params)
            (answer,) = cursor.fetchone()
        answers = from_json(answer)
        return {
            name: [plan.instance(_row(row, self._decoders[name])) for row in rows]
            for (name, plan), rows in zip(plans.items(), answers, strict=True)
        }

    @cached_property
    def _plans(self) -> dict[str, Plan]:
        return {name: asked.plan() for name, asked in self._questions.items()}

    @cached_property
    def _sql(self) -> str:
        return f"SELECT json_build_array({', '.join(_as_json(plan) for plan in self._plans.values())})::text"

    @cached_property
    def _decoders(self) -> dict[str, Sequence[tuple[int, Callable[[Any], Any]]]]:
        return {name: _decoders(plan) for name, plan in self._plans.items()}


def _as_json(plan: Plan) -> str:
    """A subquery that gives the rows of a plan as a list of lists. Two columns of one name are told apart."""
    columns = ", ".join(f"c{place}" for place in range(len(plan.fields)))
    return (
        f"(SELECT coalesce(json_agg(json_build_array({columns})), '[]') "  # noqa: S608 - a plan's own SQL
        f"FROM ({plan.sql}) AS q ({columns}))"
    )


def _decoders(plan: Plan) -> list[tuple[int, Callable[[Any], Any]]]:
    """Which places of a row need what."""
    return [
        (place, decode)
        for place, column in enumerate(plan.fields)
        if (decode := next((made for kind, made in _FROM_JSON if isinstance(column, kind)), None))
    ]


def _row(row: list[Any], decoders: Sequence[tuple[int, Callable[[Any], Any]]]) -> list[Any]:
    for place, decode in decoders:
        if row[place] is not None:
            row[place] = decode(row[place])
    return row
