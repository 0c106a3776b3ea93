"""The office's due list."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from people.permissions import sees_everything
from web.access import FIRM, PersonRequest, page_for
from web.forms.filters import DueFilterForm
from web.paging import ROWS
from web.selectors.due import due_counts, follow_ups_page, overdue_page, weeks_page

PARTS = ("overdue", "weeks", "follow-ups")
FIRST_ROWS = 25


@page_for(FIRM)
@require_safe
def due(request: PersonRequest) -> HttpResponse:
    """All three parts, the first rows of each; or one part in pages."""
    form, filters = DueFilterForm.read(request.GET)
    today = timezone.localdate()
    part = request.GET.get("part", "")
    part = part if part in PARTS else ""
    after = request.GET.get("after", "") if part else ""
    size = ROWS if part else FIRST_ROWS
    context: dict[str, object] = {
        "form": form,
        "part": part,
        "today": today,
        "can_book": sees_everything(request.user),
        "counts": due_counts(request.user, filters, today),
        "kept": filters.as_query(),
    }
    if part in ("", "overdue"):
        context["overdue"] = overdue_page(request.user, filters, today, after, size)
    if part in ("", "follow-ups"):
        context["follow_ups"] = follow_ups_page(request.user, filters, after, size)
    if part in ("", "weeks"):
        context["weeks"], context["weeks_after"] = weeks_page(request.user, filters, today, after, size)
    return render(request, "office/due.html", context)
