"""Adding and editing what the office keeps: one pair of pages for every kind of row."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import models
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from common.problems import Problem
from fleet.models import (
    Analyser,
    AnalyserChannel,
    AnalyserPeriod,
    Appliance,
    Burner,
    Contract,
    Customer,
    GasPrice,
    Plant,
    Site,
)
from fleet.records import record_add, record_change
from fleet.units import units_of
from people.licences import licence_add, licence_change
from people.models import Licence, Technician, User
from planning.services import plan_appliances
from web.access import OFFICE, PersonRequest, page_for
from web.forms import records as forms
from web.problems import add_to_form, renew_hidden


@dataclass(frozen=True)
class Kind:
    """One kind of row: its form, what it hangs on, and the page one comes back to."""

    form: type[forms.RecordForm]
    model: type[models.Model]
    word: str | Promise
    back: Callable[[Any], str]
    parent: type[models.Model] | None = None
    parent_field: str = ""
    add: Callable[..., None] = record_add
    change: Callable[..., Any] = record_change


def _page(name: str, *path: str) -> Callable[[Any], str]:
    def address(row: Any) -> str:
        for step in path:
            row = getattr(row, step)
        return reverse(f"web:{name}", args=[row] if path else [])

    return address


def _listed(name: str, anchor: str) -> Callable[[Any], str]:
    return lambda row: f"{reverse(f'web:{name}')}#{name}-{getattr(row, anchor)}"


KINDS: dict[str, Kind] = {
    "customer": Kind(forms.CustomerForm, Customer, gettext_lazy("customer"), _page("customer", "pk")),
    "site": Kind(forms.SiteForm, Site, gettext_lazy("site"), _page("site", "pk"), Customer, "customer"),
    "plant": Kind(forms.PlantForm, Plant, gettext_lazy("plant"), _page("plant", "pk"), Site, "site"),
    "appliance": Kind(
        forms.ApplianceForm,
        Appliance,
        gettext_lazy("appliance"),
        _page("appliance", "pk"),
        Plant,
        "plant",
    ),
    "burner": Kind(
        forms.BurnerForm,
        Burner,
        gettext_lazy("burner"),
        _page("appliance", "appliance_id"),
        Appliance,
        "appliance",
    ),
    "contract": Kind(
        forms.ContractForm,
        Contract,
        gettext_lazy("contract"),
        _page("customer", "customer_id"),
        Customer,
        "customer",
    ),
    "price": Kind(forms.GasPriceForm, GasPrice, gettext_lazy("gas price"), _page("costs")),
    "customer-price": Kind(
        forms.GasPriceForm,
        GasPrice,
        gettext_lazy("gas price of a customer"),
        _page("customer", "customer_id"),
        Customer,
        "customer",
    ),
    "contract-price": Kind(
        forms.GasPriceForm,
        GasPrice,
        gettext_lazy("gas price of a contract"),
        _page("customer", "contract", "customer_id"),
        Contract,
        "contract",
    ),
    "analyser": Kind(forms.AnalyserForm, Analyser, gettext_lazy("analyser"), _listed("kit", "pk")),
    "channel": Kind(
        forms.ChannelForm,
        AnalyserChannel,
        gettext_lazy("channel of an analyser"),
        _listed("kit", "analyser_id"),
        Analyser,
        "analyser",
    ),
    "period": Kind(
        forms.PeriodForm,
        AnalyserPeriod,
        gettext_lazy("analyser period"),
        _listed("kit", "analyser_id"),
        Analyser,
        "analyser",
    ),
    "technician": Kind(
        forms.TechnicianForm,
        Technician,
        gettext_lazy("technician"),
        _listed("crew", "user_id"),
        User,
        "user",
        licence_add,
        licence_change,
    ),
    "licence": Kind(
        forms.LicenceForm,
        Licence,
        gettext_lazy("licence"),
        lambda row: f"{reverse('web:crew')}?name={quote(row.technician.user.username)}",
        Technician,
        "technician",
        licence_add,
        licence_change,
    ),
}


PLANNED_AT_ONCE = 2000


@page_for(OFFICE)
@require_http_methods(["GET", "POST"])
def add(request: PersonRequest, kind: str, parent: int) -> HttpResponse:
    """A new row, under its parent where its kind has one (0 else)."""
    chosen = _kind(kind)
    row = chosen.model()
    above = None
    if chosen.parent is not None:
        above = get_object_or_404(chosen.parent._default_manager.all(), pk=parent)
        setattr(row, chosen.parent_field, above)
    form = chosen.form(request.POST or None, instance=row, units=units_of(request.user))
    if request.method == "POST" and form.is_valid() and _added(request, chosen, form):
        _plan_again(form.instance)
        messages.success(request, _("Added."))
        return redirect(chosen.back(form.instance))
    context = {"form": form, "word": chosen.word, "above": above, "is_new": True}
    return render(request, "office/record.html", context)


@page_for(OFFICE)
@require_http_methods(["GET", "POST"])
def change(request: PersonRequest, kind: str, pk: int) -> HttpResponse:
    """A stored row; where somebody changed it meanwhile, the editor is shown what."""
    chosen = _kind(kind)
    row = get_object_or_404(chosen.model._default_manager.all(), pk=pk)
    form = chosen.form(request.POST or None, instance=row, units=units_of(request.user))
    back = chosen.back(row)
    if request.method == "POST" and form.is_valid() and _changed(request, chosen, form):
        _plan_again(row)
        messages.success(request, _("Kept."))
        return redirect(back)
    context = {"form": form, "word": chosen.word, "row": row, "back": back, "is_new": False}
    return render(request, "office/record.html", context)


def _kind(name: str) -> Kind:
    if name not in KINDS:
        raise Http404
    return KINDS[name]


def _plan_again(row: models.Model) -> None:
    """Dates follow at once what they hang on; beyond the first thousands the nightly run does it."""
    if isinstance(row, Contract):
        rows = Appliance.objects.filter(plant__site__customer=row.customer_id)
    elif isinstance(row, Appliance):
        rows = Appliance.objects.filter(pk=row.pk)
    else:
        return
    ids = list(rows.order_by("pk").values_list("pk", flat=True)[:PLANNED_AT_ONCE])
    plan_appliances(ids, today=timezone.localdate())


def _added(request: PersonRequest, kind: Kind, form: forms.RecordForm) -> bool:
    row = forms.bound_to(form)
    lists = form.lists()
    try:
        kind.add(by=request.user, row=row, **({"lists": lists} if lists else {}))
    except ValidationError as error:
        form.add_error(None, error.messages)
        return False
    return True


def _changed(request: PersonRequest, kind: Kind, form: forms.RecordForm) -> bool:
    try:
        kind.change(by=request.user, row=form.instance, values=form.values(), seen=form.seen_values())
    except Problem as problem:
        add_to_form(form, problem)
        form.add_error(None, problem.detail)
        # Told of it now, the editor may save over it.
        renew_hidden(form, "seen", form.sealed())
        return False
    except ValidationError as error:
        form.add_error(None, error.messages)
        return False
    return True
