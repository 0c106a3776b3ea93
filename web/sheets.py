"""What a page's table shows as a file: CSV or XLSX, text cells inert, numbers as numbers."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

import tablib
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase

from common.sheets import Echo, inert

SPREADSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def file_asked(request: HttpRequest) -> str:
    """The form that the address asks the page's numbers in (`as=csv`, `as=xlsx`); empty for the page."""
    return request.GET.get("as", "")


def sheet_response(
    name: str, form: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]
) -> HttpResponseBase:
    """The rows as `name.csv` or `name.xlsx`. Not found for any other form."""
    response: HttpResponseBase
    if form == "csv":
        response = StreamingHttpResponse(_lines(columns, rows), content_type="text/csv; charset=utf-8")
    elif form == "xlsx":
        table = tablib.Dataset(*[[_cell(cell) for cell in row] for row in rows], headers=columns)
        response = HttpResponse(table.export("xlsx"), content_type=SPREADSHEET)
    else:
        raise Http404
    response["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    return response


def _lines(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    writer = csv.writer(Echo())
    yield writer.writerow(columns)
    for row in rows:
        yield writer.writerow([_cell(cell) for cell in row])


def _cell(cell: Any) -> Any:
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return round(cell, 6)
    if isinstance(cell, date):
        return cell.isoformat()
    return inert(cell)
