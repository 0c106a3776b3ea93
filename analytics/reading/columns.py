"""Columns of numbers out of the database, fast and in bounded memory.

PostgreSQL sends every row in COPY's binary form, which at a fixed width per row is a NumPy array already;
elsewhere rows are fetched in batches. Missing is NaN in a column of floats and -1 in one of whole numbers.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

import numpy as np
import numpy.typing as npt
from django.db import connection, models
from django.db.models.expressions import Combinable
from django.db.models.functions import Cast, Coalesce

Columns = dict[str, npt.NDArray[Any]]


@dataclass(frozen=True)
class Place:
    """A column of words as each one's place in a list, -1 where it is none of them."""

    column: str
    words: tuple[Any, ...]

    def case(self) -> models.Case:
        """The same in SQL."""
        whens = [
            models.When(**{self.column: word}, then=models.Value(place))
            for place, word in enumerate(self.words)
        ]
        return models.Case(*whens, default=models.Value(-1), output_field=models.IntegerField())


Source = Combinable | Place | str
Wanted = Mapping[str, tuple[str, Source]]
"""Name of a column to its NumPy type and what gives it: an expression, words, or a field's path."""

BATCH_ROWS = 50_000
_COPY_HEADER_BYTES = 19
_COPY_LAST_BYTES = (2, _COPY_HEADER_BYTES + 2)
"""The end mark alone, or behind the header where there are no rows; a row's length is even and above 2."""


class _Real(models.FloatField):  # type: ignore[type-arg]
    def db_type(self, connection: Any) -> str:
        return "real"


_FIELDS: dict[str, Any] = {
    "i2": models.SmallIntegerField,
    "i4": models.IntegerField,
    "i8": models.BigIntegerField,
    "f4": _Real,
    "f8": models.FloatField,
}


class EpochDays(models.Func):
    """An instant as days since 1970-01-01 00:00 UTC."""

    output_field = models.FloatField()

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(
            compiler, connection, template="(EXTRACT(EPOCH FROM %(expressions)s)::float8 / 86400)", **context
        )

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> Any:
        return self.as_sql(
            compiler, connection, template="(julianday(%(expressions)s) - 2440587.5)", **context
        )


def columns_read(rows: models.QuerySet[Any], wanted: Wanted, *, few: bool = False) -> Columns:
    """The wanted columns of a queryset's rows, in no order. few: a plain query is quicker to ask."""
    batches = list(column_batches(rows, wanted, few=few))
    return {
        name: np.concatenate([np.empty(0, kind), *(batch[name] for batch in batches)], dtype=kind)
        for name, (kind, _) in wanted.items()
    }


def column_batches(rows: models.QuerySet[Any], wanted: Wanted, *, few: bool = False) -> Iterator[Columns]:
    """The same, some thousands of rows at a time."""
    if few or connection.vendor != "postgresql":
        yield from _fetched(rows, wanted, few)
    else:
        yield from _copied(rows, wanted)


def _copied(rows: models.QuerySet[Any], wanted: Wanted) -> Iterator[Columns]:
    cells = {
        f"c_{name}": Cast(Coalesce(_expression(source), _missing(kind)), _FIELDS[kind]())
        for name, (kind, source) in wanted.items()
    }
    query = rows.order_by().annotate(**cells).values_list(*cells).query
    # merged here, since a cursor that notes its queries copies without parameters
    sql = connection.ops.compose_sql(*query.sql_with_params())  # type: ignore[attr-defined]
    record = _record(wanted)
    with connection.cursor() as cursor, cursor.copy(f"COPY ({sql}) TO STDOUT (FORMAT BINARY)") as copy:
        pieces = _pieces(copy)
        first = next(pieces, b"")[_COPY_HEADER_BYTES:]
        head = [first] if len(first) == record.itemsize else []
        while block := b"".join([*head, *islice(pieces, BATCH_ROWS)]):
            head = []
            # the last two bytes of the stream are its end mark, no row
            whole = np.frombuffer(block, record, count=len(block) // record.itemsize)
            yield {name: whole[name].astype(np.dtype(kind)) for name, (kind, _) in wanted.items()}


def _pieces(copy: Any) -> Iterator[bytes]:
    """What COPY sends, row by row.

    The driver's own loop asks whether to wait before every row; rows that have arrived are taken from its
    library at once. The stream's end mark is left to the driver, which reads what follows it.
    """
    library = copy.connection.pgconn
    # joining bytes costs half of what joining the driver's views does
    while piece := bytes(copy.read()):
        yield piece
        while len(piece) not in _COPY_LAST_BYTES:
            arrived, view = library.get_copy_data(1)
            if arrived <= 0:
                break
            piece = bytes(view)
            yield piece


def _record(wanted: Wanted) -> np.dtype[Any]:
    """One row of COPY's binary form: the count of its columns, then each one's length and value."""
    fields: list[tuple[str, str]] = [("columns", ">i2")]
    for name, (kind, _) in wanted.items():
        fields += [(f"length of {name}", ">i4"), (name, f">{kind}")]
    return np.dtype(fields)


def _fetched(rows: models.QuerySet[Any], wanted: Wanted, few: bool) -> Iterator[Columns]:
    # plain columns are asked for as they are and words numbered here: building expressions takes longer
    computed = {
        f"c_{name}": source for name, (_, source) in wanted.items() if not isinstance(source, str | Place)
    }
    paths = [_path(name, source) for name, (_, source) in wanted.items()]
    found = rows.order_by().annotate(**computed).values_list(*paths)
    stream = iter(found) if few else found.iterator(chunk_size=BATCH_ROWS)
    while batch := list(islice(stream, BATCH_ROWS)):
        columns = zip(*batch, strict=True)
        yield {
            name: _array(values, kind, source)
            for (name, (kind, source)), values in zip(wanted.items(), columns, strict=True)
        }


def _path(name: str, source: Source) -> str:
    if isinstance(source, Place):
        return source.column
    return source if isinstance(source, str) else f"c_{name}"


def _array(values: tuple[Any, ...], kind: str, source: Source) -> npt.NDArray[Any]:
    if isinstance(source, Place):
        numbers = {word: number for number, word in enumerate(source.words)}
        return np.array([numbers.get(value, -1) for value in values], np.dtype(kind))
    missing = np.nan if kind.startswith("f") else -1
    return np.array([missing if value is None else value for value in values], np.dtype(kind))


def _expression(source: Source) -> Combinable:
    if isinstance(source, Place):
        return source.case()
    return models.F(source) if isinstance(source, str) else source


def _missing(kind: str) -> models.Value:
    if kind.startswith("f"):
        return models.Value(float("nan"), output_field=models.FloatField())
    return models.Value(-1, output_field=models.IntegerField())


def rows_of(sorted_ids: npt.NDArray[Any], wanted: npt.NDArray[Any]) -> npt.NDArray[np.int64]:
    """Place of each wanted id in the sorted ids, -1 where it is not there."""
    if not len(sorted_ids):
        return np.full(len(wanted), -1, np.int64)
    place = np.minimum(np.searchsorted(sorted_ids, wanted), len(sorted_ids) - 1)
    return np.where(sorted_ids[place] == wanted, place, -1)
