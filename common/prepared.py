"""Querysets whose SQL is worked out once.

Django compiles a queryset anew at every call, which costs more than the database takes to answer it. Where
one request asks a dozen small questions, that is most of its time. A `Prepared` keeps the SQL and the plan
for building the instances, select_related and annotations included; values are bound at each call.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
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
class Plan:
    """The SQL of one queryset on one database, and how its rows become instances.

    fields: of every column of a row, those of joined rows and annotations too.
    """

    sql: str
    params: tuple[Any, ...]
    compiler: Any
    model: type[models.Model]
    fields: Sequence[models.Field[Any, Any]]
    columns: slice
    attnames: list[str]
    populators: Sequence[Any]
    annotations: dict[str, int]
    converters: Any

    def bound(self, values: Mapping[str, Any]) -> list[Any]:
        """The parameters of the SQL, with these values for its binds."""
        return [
            param.field.get_db_prep_value(values[param.name], connection)
            if isinstance(param, _Bound)
            else param
            for param in self.params
        ]

    def instance(self, row: Sequence[Any]) -> Any:
        """The instance that a row stands for, with what is joined and annotated."""
        instance = _built(self.model, self.attnames, row[self.columns])
        for populator in self.populators:
            _populate(populator, row, instance)
        for name, position in self.annotations.items():
            setattr(instance, name, row[position])
        return instance


class Prepared(Generic[M]):
    """A queryset to be asked often: `build` makes it once, with a `Bind` for each value that changes.

    Calling it with those values gives the instances as a list. It holds no data, only SQL, one per kind of
    database.
    """

    def __init__(self, build: Callable[[], models.QuerySet[M]]) -> None:
        self._build = build
        self._plans: dict[str, Plan] = {}

    def __call__(self, **values: Any) -> list[M]:
        plan = self.plan()
        with connection.cursor() as cursor:
            cursor.execute(plan.sql, plan.bound(values))
            rows = cursor.fetchall()
        if plan.converters:
            rows = plan.compiler.apply_converters(rows, plan.converters)
        return [plan.instance(row) for row in rows]

    def plan(self) -> Plan:
        """For the database in use, worked out once."""
        return self._plans.get(connection.vendor) or self._compile()

    def _compile(self) -> Plan:
        queryset = self._build()
        compiler = queryset.query.get_compiler(connection=connection)
        sql, params = compiler.as_sql()
        info = compiler.klass_info
        fields = info["select_fields"]
        columns = slice(fields[0], fields[-1] + 1)
        plan = Plan(
            sql=sql,
            params=tuple(params),
            compiler=compiler,
            model=info["model"],
            fields=[column[0].output_field for column in compiler.select],
            columns=columns,
            attnames=[column[0].target.attname for column in compiler.select[columns]],
            populators=_populators(info, compiler.select, connection.alias),
            annotations=compiler.annotation_col_map,
            converters=compiler.get_converters([column[0] for column in compiler.select]),
        )
        self._plans[connection.vendor] = plan
        return plan


def _built(model: type[models.Model], attnames: Sequence[str], values: Sequence[Any]) -> Any:
    """A stored instance as `from_db` builds it, without the walk over all fields; nothing of ours listens."""
    instance = model.__new__(model)
    state = models.base.ModelState()
    state.adding, state.db = False, connection.alias
    vars(instance).update(zip(attnames, values, strict=True), _state=state)
    return instance


def _populate(populator: Any, row: Sequence[Any], instance: Any) -> None:
    """Join what one populator of select_related brings, and what hangs on that."""
    values = row[populator.cols_start : populator.cols_end]
    other = None
    if values[populator.pk_idx] is not None:
        other = _built(populator.model_cls, populator.init_list, values)
        for further in populator.related_populators:
            _populate(further, row, other)
        populator.remote_setter(other, instance)
    populator.local_setter(instance, other)


def hang(rows: Iterable[models.Model], parents: Iterable[models.Model], *, by: str, under: str) -> None:
    """Give each parent its rows under a relation's name, as `prefetch_related` would have fetched them.

    by: what leads from a row to its parent's key. `all()` then gives the list and asks nothing.
    """
    own = grouped(rows, by)
    for parent in parents:
        vars(parent).setdefault("_prefetched_objects_cache", {})[under] = own[parent.pk]
