"""Booking an attendance."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.models import Role, User
from web.forms.widgets import LongSelect


def technicians() -> "QuerySet[User]":
    """Active people who go out, by name."""
    return User.objects.filter(is_active=True, role=Role.TECHNICIAN).order_by("last_name", "first_name", "pk")


class BookingForm(forms.Form):
    """Who comes when; the plant is the page's."""

    on = forms.DateField(
        label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}), help_text=_("The day at the site.")
    )
    start = forms.TimeField(
        label=_("From"),
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text=_("The clock at the site."),
    )
    commissioning = forms.BooleanField(label=_("A commissioning is part of it"), required=False)
    notes = forms.CharField(
        label=_("Access, for this day"), required=False, widget=forms.Textarea, max_length=2000
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["technician"] = forms.ModelChoiceField(
            technicians(), label=_("Technician"), empty_label=_("choose"), widget=LongSelect
        )
        self.order_fields(["technician"])
