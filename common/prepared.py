"""Querysets whose SQL is worked out once.

Django compiles a queryset anew at every call, which costs more than the database takes to answer it. Where
one request asks a dozen small questions, that is most of its time. A `Prepared` keeps the SQL and the plan
for building the instances, select_related and annotations included; values are bound at each call.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from django.db import connection, models
from django.db.models.expressions import Expression
from django.db.models.query import get_related_populators

from common.grouping import grouped

_populators: Any = get_related_populators  # the stubs speak of a later Django than the one pinned
M = TypeVar("M", bound=models.Model)


class Bind(Expression):
    """A value that is named now and given at each call. `output_field` says how it is adapted."""

    def __init__(self, name: str, output_field: models.Field[Any, Any]) -> None:
        super().__init__(output_field=output_field)
        self.name = name

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, Any]:
        return "%s", [_Bound(self.name, self.output_field)]


class _Keys(models.Field):  # type: ignore[type-arg]
    """Primary keys as one parameter: an array, or JSON where the database has none."""

    def get_db_prep_value(self, value: Any, connection: Any, prepared: bool = False) -> Any:
        return list(value) if connection.vendor == "postgresql" else json.dumps(list(value))


class Among(models.Func):
    """Whether a column holds one of the keys bound under a name, with one SQL for any number of them."""

    output_field = models.BooleanField()

    def __init__(self, column: str, name: str) -> None:
        super().__init__(models.F(column), Bind(name, _Keys()))

    def as_sqlite(self, compiler: Any, connection: Any, **more: Any) -> Any:
        joined, listed = "%(expressions)s))", " IN (SELECT value FROM json_each("
        return self.as_sql(compiler, connection, template=joined, arg_joiner=listed, **more)

    def as_postgresql(self, compiler: Any, connection: Any, **more: Any) -> Any:
        joined, listed = "%(expressions)s::bigint[])", " = ANY("
        return self.as_sql(compiler, connection, template=joined, arg_joiner=listed, **more)


@dataclass(frozen=True)
class _Bound:
    name: str
    field: models.Field[Any, Any]


@dataclass(frozen=True)
class _Plan:
    """The SQL of one queryset on one database, and how its rows become instances."""

    sql: str
    params: tuple[Any, ...]
    compiler: Any
    model: type[models.Model]
    columns: slice
    attnames: list[str]
    populators: Sequence[Any]
    annotations: dict[str, int]
    converters: Any


class Prepared(Generic[M]):
    """A queryset to be asked often: `build` makes it once, with a `Bind` for each value that changes.

    Calling it with those values gives the instances as a list. It holds no data, only SQL, one per kind of
    database.
    """

    def __init__(self, build: Callable[[], models.QuerySet[M]]) -> None:
        self._build = build
        self._plans: dict[str, _Plan] = {}

    def __call__(self, **values: Any) -> list[M]:
        plan = self._plans.get(connection.vendor) or self._compile()
        params = [
            param.field.get_db_prep_value(values[param.name], connection)
            if isinstance(param, _Bound)
            else param
            for param in plan.params
        ]
        with connection.cursor() as cursor:
            cursor.execute(plan.sql, params)
            rows = cursor.fetchall()
        if plan.converters:
            rows = plan.compiler.apply_converters(rows, plan.converters)
        return [_instance(plan, row) for row in rows]

    def _compile(self) -> _Plan:
        queryset = self._build()
        compiler = queryset.query.get_compiler(connection=connection)
        sql, params = compiler.as_sql()
        info = compiler.klass_info
        fields = info["select_fields"]
        columns = slice(fields[0], fields[-1] + 1)
        plan = _Plan(
            sql=sql,
            params=tuple(params),
            compiler=compiler,
            model=info["model"],
            columns=columns,
            attnames=[column[0].target.attname for column in compiler.select[columns]],
            populators=_populators(info, compiler.select, connection.alias),
            annotations=compiler.annotation_col_map,
            converters=compiler.get_converters([column[0] for column in compiler.select]),
        )
        self._plans[connection.vendor] = plan
        return plan


def _instance(plan: _Plan, row: Sequence[Any]) -> Any:
    instance = plan.model.from_db(connection.alias, plan.attnames, row[plan.columns])
    for populator in plan.populators:
        populator.populate(row, instance)
    for name, position in plan.annotations.items():
        setattr(instance, name, row[position])
    return instance


def hang(rows: Iterable[models.Model], parents: Iterable[models.Model], *, by: str, under: str) -> None:
    """Give each parent its rows under a relation's name, as `prefetch_related` would have fetched them.

    by: what leads from a row to its parent's key. `all()` then gives the list and asks nothing.
    """
    own = grouped(rows, by)
    for parent in parents:
        vars(parent).setdefault("_prefetched_objects_cache", {})[under] = own[parent.pk]
