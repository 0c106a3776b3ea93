"""The flue-gas page: readings in the address, what they mean on the page. Nothing is stored."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fleet.selectors import limits_in_force
from fleet.units import units_of
from web.access import FIRM, PersonRequest, page_for
from web.forms.flue_gas import FlueGasForm
from web.selectors.flue_gas import flue_gas_page


@page_for(FIRM)
@require_safe
def flue_gas(request: PersonRequest) -> HttpResponse:
    """Air ratio, losses, emissions and the fuel line of any readings, with their uncertainty."""
    form = FlueGasForm.read(request.GET, units_of(request.user))
    page = flue_gas_page(form, limits_in_force("", None, timezone.localdate()))
    return render(request, "flue-gas/flue-gas.html", {"page": page, "form": form})
