"""One safety limit from a day on."""

import re
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.models import Customer, SafetyLimit


class LimitForm(forms.ModelForm):  # type: ignore[type-arg]
    """What, for whom, how much, since when, and on whose word."""

    customer = forms.ModelChoiceField(
        Customer.objects.filter(retired_on__isnull=True).only("pk", "name"),
        label=_("Customer"),
        required=False,
        empty_label=_("every customer"),
    )

    class Meta:
        model = SafetyLimit
        fields = ["quantity", "level", "value", "country", "customer", "in_force_on", "source", "mark"]
        labels = {
            "quantity": _("Quantity"),
            "level": _("Level"),
            "value": _("From this value on"),
            "country": _("Country, two letters"),
            "in_force_on": _("In force from"),
            "source": _("Source"),
            "mark": _("How the source was had"),
        }
        help_texts = {
            "country": _("Empty: everywhere without a limit of its own."),
            "source": _("The document and its place, or whose decision."),
        }
        widgets = {
            "in_force_on": forms.DateInput(attrs={"type": "date"}),
            "value": forms.TextInput(attrs={"inputmode": "decimal", "class": "numeric"}),
        }

    def clean_country(self) -> str:
        """Two capital letters, or nothing."""
        country = str(self.cleaned_data["country"]).upper()
        if country and not re.fullmatch("[A-Z]{2}", country):
            raise forms.ValidationError(_("Two letters by ISO 3166-1, such as GB."))
        return country

    def validate_unique(self) -> None:
        """One for the same day and place takes the other's place: the service decides."""

    def validate_constraints(self) -> None:
        """Asked by the service, on the row that it will write."""

    def wanted(self) -> dict[str, Any]:
        """What the service is asked for."""
        return dict(self.cleaned_data)
