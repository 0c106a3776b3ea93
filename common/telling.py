"""Serialisers whose fields are worked out once.

A serialiser asks each of its fields anew for every row: where it lies, whether it is there, how it is told.
For an answer of some thousand values that takes longer than the database. A teller has settled those
questions beforehand, and gives what `to_representation` gives.
"""

from collections.abc import Callable, Mapping
from operator import attrgetter
from typing import Any, cast

from django.db.models import Manager
from rest_framework import serializers
from rest_framework.fields import empty

Field = serializers.Field[Any, Any, Any, Any]
Tell = Callable[[Any], Any]
_AS_THEY_ARE: Mapping[type, type] = {
    serializers.CharField: str,
    serializers.ChoiceField: str,
    serializers.IntegerField: int,
    serializers.FloatField: float,
    serializers.BooleanField: bool,
}
"""Fields that tell a value of this very type as it is."""


def teller(serializer: serializers.BaseSerializer[Any]) -> Tell:
    """A function from an object to what this serialiser would tell of it: plain dicts and lists.

    For telling only: write-only fields are left out, and each row is an object or a dict throughout.
    """
    if isinstance(serializer, serializers.ListSerializer):
        return _many(teller(cast(serializers.BaseSerializer[Any], serializer.child)))
    fields = cast(serializers.Serializer[Any], serializer).fields.values()
    told = [(field.field_name, _reader(field), _member(field)) for field in fields if not field.write_only]

    def tell(row: Any) -> dict[str | None, Any]:
        answer = {}
        for name, read, member in told:
            value = read(row)
            answer[name] = None if value is None else member(value)
        return answer

    return tell


def _many(tell: Tell) -> Tell:
    def tell_each(rows: Any) -> list[Any]:
        return [tell(row) for row in (rows.all() if isinstance(rows, Manager) else rows)]

    return tell_each


def _reader(field: Field) -> Tell:
    """How the field's value is got from a row; the field's own way where it may have to do without one."""
    source = field.source or ""
    led = "." in source or isinstance(field, serializers.BaseSerializer)
    if source == "*" or field.default is not empty or (field.allow_null and led):
        return field.get_attribute
    by_name = attrgetter(source)
    return lambda row: row[source] if type(row) is dict else by_name(row)


def _member(field: Field) -> Tell:
    """How the field tells a value that is there."""
    if isinstance(field, serializers.BaseSerializer):
        return teller(field)
    plain, tell = _AS_THEY_ARE.get(type(field)), field.to_representation
    return lambda value: value if type(value) is plain else tell(value)
