"""Safety limits: everyone of the firm reads what visits are judged by; an administrator sets them."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from common.models import AuditLine
from fleet.models import SafetyLimit
from fleet.permissions import can_set_limits
from fleet.services import limit_set
from people.models import Role
from web.access import FIRM, PersonRequest, page_for
from web.forms.limits import LimitForm

CHANGES_SHOWN = 50


@page_for(FIRM)
@require_safe
def limits(request: PersonRequest) -> HttpResponse:
    """Every limit on file with its source, and the last changes."""
    rows = SafetyLimit.objects.select_related("customer").order_by(
        "quantity", "country", "customer__name", "level", "-in_force_on"
    )
    changes = AuditLine.objects.filter(subject_type=SafetyLimit._meta.label_lower).order_by("-at", "-pk")
    context = {
        "rows": rows,
        "changes": changes[:CHANGES_SHOWN],
        "can_set": can_set_limits(request.user),
        "quantities": dict(SafetyLimit.Quantity.choices),
        "levels": dict(SafetyLimit.Level.choices),
    }
    return render(request, "fleet/limits.html", context)


@page_for(frozenset({Role.ADMINISTRATOR}))
@require_http_methods(["GET", "POST"])
def set_limit(request: PersonRequest) -> HttpResponse:
    """Set one limit from a day on; the page of limits then shows it with its record."""
    form = LimitForm(request.POST or None, initial=request.GET.dict())
    if request.method == "POST" and form.is_valid():
        try:
            limit = limit_set(by=request.user, **form.wanted())
        except ValidationError as error:
            for name, texts in error.message_dict.items():
                form.add_error(name if name in form.fields else None, texts)
        else:
            messages.success(request, _("Set: %(limit)s.") % {"limit": limit})
            return redirect("web:limits")
    return render(request, "fleet/limit-set.html", {"form": form})
