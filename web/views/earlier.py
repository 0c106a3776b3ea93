"""Earlier visits that drift proposes: the list, and the office's word on one."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from analytics.models import ApplianceDrift
from common.problems import Problem
from fleet.models import Appliance
from fleet.units import units_of
from planning.earlier import (
    earlier_visit_decide,
    earlier_visit_of,
    earlier_visits_waiting,
    evidence_of,
)
from planning.models import EarlierVisit
from web.access import OFFICE, PersonRequest, page_for
from web.forms.filters import DueFilterForm
from web.paging import ROWS, counted, page_by_day
from web.problems import add_to_form
from web.selectors.due import SITE
from web.sheets import file_asked, sheet_response

FILE_ROWS = 5_000
COLUMNS = ("appliance", "customer", "site", "come_by", "annual_date", "outside_now", "wander_probability")


class DecisionForm(forms.Form):
    """Accepted with a day, or declined; with the reason either way."""

    decision = forms.ChoiceField(
        label=gettext_lazy("The office's word"),
        choices=[
            ("accepted", gettext_lazy("accept: bring the due date forward")),
            ("declined", gettext_lazy("decline: leave it at the annual date")),
        ],
        widget=forms.RadioSelect,
    )
    come_by = forms.DateField(
        label=gettext_lazy("Come by"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text=gettext_lazy("Where accepted. From today, before the annual date."),
    )
    reason = forms.CharField(
        label=gettext_lazy("Reason"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )


@page_for(OFFICE)
@require_safe
def earlier_list(request: PersonRequest) -> HttpResponseBase:
    """Proposals that wait for an answer, the soonest first."""
    form, filters = DueFilterForm.read(request.GET)
    rows = filters.narrow(earlier_visits_waiting(user=request.user), SITE)
    if file := file_asked(request):
        return sheet_response("earlier-visits", file, COLUMNS, map(_cells, rows[:FILE_ROWS]))
    page = page_by_day(rows, "next_visit_by", request.GET.get("after", ""), ROWS)
    context = {
        "form": form,
        "page": page,
        "count": counted(rows),
        "kept": filters.as_query(),
        "today": timezone.localdate(),
    }
    return render(request, "office/earlier-list.html", context)


@page_for(OFFICE)
@require_http_methods(["GET", "POST"])
def earlier(request: PersonRequest, pk: int) -> HttpResponse:
    """One proposal with what it rests on; or how it was answered."""
    rows = Appliance.objects.visible_to(request.user).with_place()
    appliance = get_object_or_404(rows, pk=pk)
    drift = _waiting(request, appliance)
    if drift is None:
        last = EarlierVisit.objects.filter(appliance=appliance).select_related("decided_by").first()
        return render(request, "office/earlier.html", {"appliance": appliance, "last": last})
    today = timezone.localdate()
    form = DecisionForm(request.POST or None, initial={"come_by": max(drift.next_visit_by or today, today)})
    if request.method == "POST" and form.is_valid() and _decided(request, appliance, form):
        return redirect("web:earlier-list")
    evidence = evidence_of(drift, units_of(request.user))
    context = {"appliance": appliance, "drift": drift, "evidence": evidence, "form": form}
    return render(request, "office/earlier.html", context)


def _waiting(request: PersonRequest, appliance: Appliance) -> ApplianceDrift | None:
    try:
        return earlier_visit_of(user=request.user, appliance=appliance)
    except Http404:
        return None


def _decided(request: PersonRequest, appliance: Appliance, form: DecisionForm) -> bool:
    said = form.cleaned_data
    try:
        row = earlier_visit_decide(
            by=request.user,
            appliance=appliance,
            accept=said["decision"] == EarlierVisit.Decision.ACCEPTED,
            come_by=said["come_by"],
            reason=said["reason"],
            today=timezone.localdate(),
        )
    except Problem as problem:
        add_to_form(form, problem)
        return False
    if row.come_by is not None:
        words = _("%(tag)s is now due %(day)s. Book an attendance for it.")
        messages.success(request, words % {"tag": appliance.tag, "day": f"{row.come_by:%d %b %Y}"})
    else:
        messages.success(request, _("%(tag)s stays at its annual date.") % {"tag": appliance.tag})
    return True


def _cells(row: ApplianceDrift) -> list[Any]:
    site = row.appliance.plant.site
    return [
        row.appliance.tag, str(site.customer), str(site), row.next_visit_by, row.appliance.next_due_on,
        row.outside[0][1] if row.outside else None, row.wander_probability,
    ]  # fmt: skip
