"""Filters that live in the address: a value that makes no sense is left out, never an error page."""

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from fleet.models import Customer, GasArea
from web.selectors.due import Filters


class DueFilterForm(forms.Form):
    """Which part of the fleet a list shows."""

    gas_area = forms.ModelChoiceField(
        GasArea.objects.all(), label=_("Gas area"), required=False, empty_label=_("all")
    )
    customer = forms.ModelChoiceField(
        Customer.objects.filter(retired_on__isnull=True).only("pk", "name"),
        label=_("Customer"),
        required=False,
        empty_label=_("all"),
    )

    @classmethod
    def read(cls, query: QueryDict) -> tuple["DueFilterForm", Filters]:
        """The form as the address fills it, and what it asks for."""
        form = cls(query)
        form.is_valid()
        ids = form.cleaned_data_ids()
        return form, Filters(gas_area=ids["gas_area"], customer=ids["customer"])

    def cleaned_data_ids(self) -> dict[str, int | None]:
        """The chosen rows by id; None where nothing, or nothing sensible, was chosen."""
        chosen = getattr(self, "cleaned_data", {})
        return {name: getattr(chosen.get(name), "pk", None) for name in self.fields}
