"""An appliance's safety state: set by whoever stands before it, and a notice to leave there."""

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from common.problems import Problem
from fleet.safety import safety_state_set
from web.access import EVERYONE, FIRM, PersonRequest, page_for
from web.forms.safety import SafetyForm
from web.problems import add_to_form, renew_hidden
from web.selectors.safety import SafetyPage, notice_event, safety_page


@page_for(FIRM)
@require_http_methods(["GET", "POST"])
def safety(request: PersonRequest, pk: int) -> HttpResponse:
    """The states an appliance has been in, and the form for the next."""
    page = safety_page(user=request.user, pk=pk)
    zone = page.appliance.plant.site.zone
    with timezone.override(zone):
        form = SafetyForm(
            request.POST or None, appliance=page.appliance, initial={"last_event": page.last_event}
        )
        if request.method == "POST" and form.is_valid() and _set(request, page, form):
            return redirect("web:safety", pk)
        context = {"page": page, "appliance": page.appliance, "zone": zone, "form": form}
        return render(request, "safety/safety.html", context)


@page_for(EVERYONE)
@require_safe
def notice(request: PersonRequest, pk: int) -> HttpResponse:
    """One page to print: what is off, why, that it must not be used, whom to call."""
    event = notice_event(user=request.user, pk=pk)
    context = {
        "event": event,
        "appliance": event.appliance,
        "zone": event.appliance.plant.site.zone,
        "firm_name": settings.FIRM_NAME,
        "firm_phone": settings.FIRM_PHONE,
    }
    return render(request, "safety/notice.html", context)


def _set(request: PersonRequest, page: SafetyPage, form: SafetyForm) -> bool:
    try:
        safety_state_set(by=request.user, appliance=page.appliance, **form.cleaned_data)
    except Problem as problem:
        add_to_form(form, problem)
        # Told of the newest event, the reader may save over it.
        renew_hidden(form, "last_event", page.last_event)
        return False
    messages.success(request, _("Kept."))
    return True
