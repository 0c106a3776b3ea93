"""How closely readings repeat, person by person: off unless the firm has agreed on it."""

from django.conf import settings
from django.http import Http404
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from analytics.figures import Estimate, intervals
from analytics.models import TechnicianRepeat
from analytics.selectors import technicians_repeat
from analytics.services import current_run
from people.models import Role
from web.access import PersonRequest, page_for
from web.sheets import file_asked, sheet_response

COLUMNS = ("technician", "pairs", "sd_co2_pct", "low_co2_pct", "high_co2_pct")
READERS = frozenset({Role.MANAGER, Role.ADMINISTRATOR, Role.TECHNICIAN})


@page_for(READERS)
@require_safe
def technicians(request: PersonRequest) -> HttpResponseBase:
    """A technician's own line; everyone's for the manager. Not found while the setting is off."""
    rows = _rows(request)
    if file := file_asked(request):
        return sheet_response("technicians", file, COLUMNS, map(_cells, rows))
    context = {"rows": rows, "run": current_run(), "figure": _figure(rows), "kept": ""}
    return render(request, "drift/technicians.html", context)


def _rows(request: PersonRequest) -> list[TechnicianRepeat]:
    if not settings.TECHNICIAN_REPEATABILITY:
        raise Http404
    return technicians_repeat(user=request.user)


def _cells(row: TechnicianRepeat) -> list[object]:
    return [str(row.technician), row.pairs, row.sd_co2_pct, row.sd_low_co2_pct, row.sd_high_co2_pct]


def _figure(rows: list[TechnicianRepeat]) -> dict[str, object] | None:
    estimates = [
        Estimate(str(row.technician), row.sd_co2_pct, row.sd_low_co2_pct, row.sd_high_co2_pct) for row in rows
    ]
    words = {"axis": _("standard deviation of one reading, % CO2"), "firm": "", "weak": ""}
    return intervals(estimates, words=words)
