"""The remedial list."""

from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from visits.judging.catalogue import FINDINGS
from web.access import FIRM, PersonRequest, page_for
from web.paging import ROWS
from web.selectors.findings import FindingFilters, counts_by_severity, findings_page


@page_for(FIRM)
@require_safe
def findings(request: PersonRequest) -> HttpResponse:
    """Open findings: what must be made safe and acted on, or one kind of them."""
    filters = FindingFilters(request.GET.get("severity", ""), request.GET.get("code", ""))
    page = findings_page(user=request.user, filters=filters, after=request.GET.get("after", ""), size=ROWS)
    context = {
        "page": page,
        "filters": filters,
        "counts": counts_by_severity(request.user),
        "codes": sorted(((code, kind.title) for code, kind in FINDINGS.items()), key=lambda row: str(row[1])),
        "kept": urlencode({"severity": filters.severity, "code": filters.code}),
    }
    return render(request, "office/findings.html", context)
