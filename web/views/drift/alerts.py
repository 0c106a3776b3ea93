"""What the office is told of, and its word that it has seen it."""

from django.contrib import messages
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from analytics.alerting import alert_acknowledge
from analytics.models import Alert
from analytics.selectors import WHAT_TO_DO, alert_sentence, alerts
from common.problems import Problem
from web.access import OFFICE, PersonRequest, page_for
from web.paging import ROWS, page_by_id
from web.sheets import file_asked, sheet_response

NOTE_LENGTH = 400
FILE_ROWS = 5_000
COLUMNS = (
    "kind", "sentence", "value", "low", "high", "day", "raised_at", "holds", "acknowledged_by",
    "acknowledged_at", "note",
)  # fmt: skip


@page_for(OFFICE)
@require_safe
def alert_list(request: PersonRequest) -> HttpResponseBase:
    """Those that wait, or all; each with what to do."""
    kind, every = request.GET.get("kind", ""), request.GET.get("show") == "all"
    kind = kind if kind in Alert.Kind.values else ""
    rows = alerts(user=request.user, waiting=not every, kind=kind)
    if file := file_asked(request):
        return sheet_response("alerts", file, COLUMNS, map(_cells, rows[:FILE_ROWS]))
    page = page_by_id(rows, request.GET.get("after", ""), size=ROWS)
    context = {
        "page": page,
        "lines": [(row, alert_sentence(row), WHAT_TO_DO[row.kind]) for row in page.rows],
        "kinds": Alert.Kind.choices,
        "kind": kind,
        "every": every,
        "kept": f"kind={kind}&show={'all' if every else ''}",
    }
    return render(request, "drift/alerts.html", context)


@page_for(OFFICE)
@require_POST
def acknowledge(request: PersonRequest, pk: int) -> HttpResponseBase:
    """Seen, with a word on what is done about it."""
    alert = get_object_or_404(Alert.objects.visible_to(request.user), pk=pk)
    note = request.POST.get("note", "").strip()
    if len(note) > NOTE_LENGTH:
        words = _("What is done about it has %(count)d letters; it may have %(most)d. Nothing was kept.")
        messages.error(request, words % {"count": len(note), "most": NOTE_LENGTH})
        return redirect("web:alerts")
    try:
        alert_acknowledge(by=request.user, alert=alert, note=note)
    except Problem as problem:
        messages.error(request, problem.detail)
    else:
        messages.success(request, _("Acknowledged."))
    return redirect("web:alerts")


def _cells(row: Alert) -> list[object]:
    return [
        row.kind, alert_sentence(row), row.value, row.low, row.high, row.day, row.raised_at.isoformat(),
        row.holds, str(row.acknowledged_by or ""),
        row.acknowledged_at.isoformat() if row.acknowledged_at else None, row.note,
    ]  # fmt: skip
