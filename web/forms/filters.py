"""Filters that live in the address: a value that makes no sense is left out, never an error page."""

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from fleet.models import Customer, GasArea
from web.selectors.due import Filters

CUSTOMERS_AT_ONCE = 200


class DueFilterForm(forms.Form):
    """Which part of the fleet a list shows. A customer is typed: a list of all would outgrow the page."""

    gas_area = forms.ModelChoiceField(
        GasArea.objects.filter(supply=GasArea.Supply.NETWORK),
        label=_("Gas area"),
        required=False,
        empty_label=_("all"),
    )
    customer = forms.CharField(label=_("Customer's name holds"), required=False, max_length=100)

    @classmethod
    def read(cls, query: QueryDict) -> tuple["DueFilterForm", Filters]:
        """The form as the address fills it, and what it asks for."""
        form = cls(query)
        form.is_valid()
        chosen = getattr(form, "cleaned_data", {})
        area, name = chosen.get("gas_area"), chosen.get("customer", "")
        return form, Filters(gas_area=area.pk if area else None, customers=_named(name), text=name)


def _named(text: str) -> tuple[int, ...] | None:
    """The customers whose name holds the text; None where nothing was asked."""
    if not text:
        return None
    rows = Customer.objects.filter(name__icontains=text).order_by("name")
    return tuple(rows.values_list("pk", flat=True)[:CUSTOMERS_AT_ONCE])
