"""Cursor paging: steady while rows are added, and it never counts the table."""

from rest_framework.pagination import CursorPagination


class CursorPaging(CursorPagination):
    """Pages of 50 by the newest id, at most 200 with `?page_size=`. A view with a time orders by it first."""

    page_size = 50
    max_page_size = 200
    page_size_query_param = "page_size"
    ordering = "-id"
