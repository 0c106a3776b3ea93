"""Cursor paging: steady while rows are added, it never counts the table and never loses one of many twins.

The cursor holds the last row's place as values, (what the list is ordered by, id), so that any number of rows
may share a date. It leads forward only.
"""

import base64
import binascii
import json
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, ClassVar

from django.core.exceptions import ValidationError as FieldRefused
from django.db.models import Model, Q
from django.utils import timezone
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

PAGE_SIZE, LARGEST_PAGE = 50, 200
LARGEST_ID = 2**63 - 1
"""Of a primary key; a database takes no greater number for one."""
PAGING_WORDS = frozenset({"cursor", "page_size"})


class CursorPaging(BasePagination):
    """Pages of 50, at most 200 with `?page_size=`, ordered by `ordering`, which names a column that is never
    empty and then the id, both in one direction. A view's own `ordering` goes before.
    """

    ordering: ClassVar[tuple[str, ...]] = ("-id",)

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        self.request = request
        self.order = tuple(getattr(view, "ordering", None) or self.ordering)
        size = _page_size(request.query_params.get("page_size"))
        cursor = request.query_params.get("cursor")
        if cursor:
            queryset = queryset.filter(_beyond(self.order, _place(queryset.model, self.order, cursor)))
        rows = list(queryset.order_by(*self.order)[: size + 1])
        self.next_cursor = _cursor(rows[size - 1], self.order) if len(rows) > size else None
        return rows[:size]

    def get_paginated_response(self, data: Any) -> Response:
        return Response({"next": self.next_address(), "results": data})

    def next_address(self) -> str | None:
        """The address of the next page, or None on the last one."""
        if self.next_cursor is None:
            return None
        return replace_query_param(self.request.build_absolute_uri(), "cursor", self.next_cursor)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "object",
            "required": ["next", "results"],
            "properties": {
                "next": {"type": ["string", "null"], "format": "uri"},
                "results": schema,
            },
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        size = {"type": "integer", "minimum": 1, "maximum": LARGEST_PAGE, "default": PAGE_SIZE}
        return [
            {"name": "cursor", "in": "query", "required": False, "schema": {"type": "string"}},
            {"name": "page_size", "in": "query", "required": False, "schema": size},
        ]


class ListQuery(serializers.Serializer[Any]):
    """The words that a list's address may carry beside the paging's own: a subclass names them.

    An unknown word is refused, so that a slip of the pen does not silently ask for everything.
    """

    @classmethod
    def asked(cls, request: Request) -> dict[str, Any]:
        """The checked words of this request, or a refusal that names the word."""
        query = cls(data=request.query_params.dict())
        known = {*query.fields, *PAGING_WORDS}
        for word in request.query_params:
            if word not in known:
                raise ValidationError({word: [f"This list knows only: {', '.join(sorted(known))}."]})
        query.is_valid(raise_exception=True)
        return dict(query.validated_data)


def _page_size(text: str | None) -> int:
    if text is None:
        return PAGE_SIZE
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= LARGEST_PAGE):
        raise ValidationError({"page_size": [f"{text[:40]!r} is not a number from 1 to {LARGEST_PAGE}."]})
    return int(text)


def _names(order: Sequence[str]) -> list[str]:
    return [column.lstrip("-") for column in order]


def _cursor(row: Model, order: Sequence[str]) -> str:
    values = [getattr(row, name) for name in _names(order)]
    plain = [value.isoformat() if isinstance(value, date | datetime) else value for value in values]
    return base64.urlsafe_b64encode(json.dumps(plain, separators=(",", ":")).encode()).decode().rstrip("=")


def _place(model: Any, order: Sequence[str], cursor: str) -> list[Any]:
    """The values that a cursor holds, each as its column's own type."""
    try:
        values = json.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
        if not isinstance(values, list) or len(values) != len(order) or None in values:
            raise ValueError(cursor)
        columns = [model._meta.get_field("id" if name == "pk" else name) for name in _names(order)]
        place = [column.to_python(value) for column, value in zip(columns, values, strict=True)]
        if any(isinstance(value, datetime) and timezone.is_naive(value) for value in place):
            raise ValueError(cursor)
        return place
    except (ValueError, TypeError, OverflowError, binascii.Error, FieldRefused) as error:
        raise ValidationError({"cursor": ["This is not a cursor of this list."]}) from error


def _beyond(order: Sequence[str], place: Sequence[Any]) -> Q:
    """Rows after the place. The first column is bounded on its own as well, which lets an index serve it."""
    steps = ["lt" if column.startswith("-") else "gt" for column in order]
    names = _names(order)
    after, level = Q(), Q()
    for name, step, value in zip(names, steps, place, strict=True):
        after |= level & Q(**{f"{name}__{step}": value})
        level &= Q(**{name: value})
    return Q(**{f"{names[0]}__{steps[0]}e": place[0]}) & after
