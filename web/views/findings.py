"""The remedial list, and the life of one finding."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from common.problems import Problem
from visits.judging.catalogue import FINDINGS
from visits.models import Life
from visits.remedies import finding_move
from web.access import FIRM, PersonRequest, page_for
from web.forms.remedies import StepForm
from web.paging import ROWS
from web.problems import add_to_form, renew_hidden
from web.selectors.findings import (
    FindingFilters,
    FindingPage,
    counts_by_severity,
    finding_page,
    findings_page,
)


@page_for(FIRM)
@require_safe
def findings(request: PersonRequest) -> HttpResponse:
    """Open findings: what must be made safe and acted on, or one kind of them."""
    filters = FindingFilters(
        severity=request.GET.get("severity", ""),
        code=request.GET.get("code", ""),
        life=request.GET.get("life", ""),
    )
    page = findings_page(user=request.user, filters=filters, after=request.GET.get("after", ""), size=ROWS)
    context = {
        "page": page,
        "filters": filters,
        "lives": Life.choices,
        "counts": counts_by_severity(request.user),
        "codes": sorted(((code, kind.title) for code, kind in FINDINGS.items()), key=lambda row: str(row[1])),
        "kept": urlencode({"severity": filters.severity, "code": filters.code, "life": filters.life}),
    }
    return render(request, "office/findings.html", context)


@page_for(FIRM)
@require_http_methods(["GET", "POST"])
def finding(request: PersonRequest, pk: int) -> HttpResponse:
    """One finding: what it rests on, every step taken, and the form for the next."""
    page = finding_page(user=request.user, pk=pk)
    form = StepForm(
        request.POST or None, by=request.user, finding=page.finding, initial=_as_it_stands(page, request)
    )
    if request.method == "POST" and form.is_valid():
        try:
            finding_move(by=request.user, finding=page.finding, **form.cleaned_data)
        except Problem as problem:
            add_to_form(form, problem)
            # Told of the newest step, the reader may save over it.
            renew_hidden(form, "last_step", page.last_step)
        else:
            messages.success(request, _("Kept."))
            return redirect("web:finding", pk)
    return render(request, "office/finding.html", {"page": page, "finding": page.finding, "form": form})


def _as_it_stands(page: FindingPage, request: PersonRequest) -> dict[str, object]:
    row = page.finding
    return {
        "to": row.life,
        "owner": row.owner_id,
        "due_on": row.due_on,
        "visit": row.done_on_visit_id,
        "last_step": page.last_step,
    }
