"""The technician's day."""

from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from people.models import Role
from planning.selectors import day_of
from web.access import PersonRequest, page_for
from web.selectors.day import tools_of, with_standing_findings


@page_for(frozenset({Role.TECHNICIAN}))
@require_safe
def my_day(request: PersonRequest) -> HttpResponse:
    """Attendances in order: where, how to get in, what was found last time, what to bring."""
    try:
        on = date.fromisoformat(request.GET.get("on", ""))
    except ValueError:
        on = timezone.localdate()
    day = day_of(request.user, on)
    context = {
        "day": day,
        "today": timezone.localdate(),
        "before": on - timedelta(days=1),
        "after": on + timedelta(days=1),
        "rows": with_standing_findings(day),
        "tools": tools_of(day),
    }
    return render(request, "technician/my-day.html", context)
