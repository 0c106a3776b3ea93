"""Rows to be stored, made without the walk over all fields that a wide model's own `__init__` takes."""

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from django.db import models
from django.db.models.base import ModelState

M = TypeVar("M", bound=models.Model)


def unsaved(
    blank: M,
    joined: Mapping[str, models.Model | None],
    values: Mapping[str, Any] | Iterable[tuple[str, Any]],
) -> M:
    """A row like the blank one but for these values and for what it is joined to, whose keys it takes.

    Some twenty times as fast as `__init__`, which costs more than all else that is done to a row. Values
    that the blank one holds are shared: give those that may be changed in place, and those made anew for
    each row, such as a UUID.
    """
    row: M = object.__new__(type(blank))
    own = row.__dict__
    own.update(blank.__dict__)
    own.update(values)
    for name, other in joined.items():
        own[f"{name}_id"] = None if other is None else other.pk
    state = own["_state"] = ModelState()
    state.fields_cache = dict(joined)
    return row
