"""The next step in a finding's life."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.models import User
from people.permissions import OFFICE_ROLES, STAFF_ROLES
from visits.models import Finding, Life, Visit
from visits.permissions import can_move_finding
from web.forms.widgets import LongSelect

VISITS_OFFERED = 12


def owners() -> "QuerySet[User]":
    """Whoever of the firm may see to a finding, by name."""
    rows = User.objects.filter(is_active=True, role__in=STAFF_ROLES | OFFICE_ROLES)
    return rows.order_by("last_name", "first_name", "pk")


class StepForm(forms.Form):
    """Where the finding goes from here, by whom and by when."""

    said_by = forms.CharField(
        label=_("Who said so for the customer"),
        max_length=120,
        required=False,
        help_text=_("Needed where the customer declines."),
    )
    due_on = forms.DateField(
        label=_("To be seen to by"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    note = forms.CharField(
        label=_("Note"), max_length=400, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    last_step = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args: Any, by: User, finding: Finding, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        allowed = [choice for choice in Life.choices if can_move_finding(by, choice[0])]
        self.fields["to"] = forms.ChoiceField(label=_("It is now"), choices=allowed)
        self.fields["owner"] = forms.ModelChoiceField(
            owners(),
            label=_("Who sees to it"),
            required=False,
            empty_label=_("nobody named"),
            widget=LongSelect,
        )
        later = Visit.objects.filter(appliance=finding.appliance_id).order_by("-opened_at", "-pk")
        offered = list(later.values_list("pk", flat=True)[:VISITS_OFFERED])
        self.fields["visit"] = forms.ModelChoiceField(
            Visit.objects.filter(pk__in=offered).select_related("appliance").order_by("-opened_at"),
            label=_("Done on the visit"),
            required=False,
            empty_label=_("on no visit"),
        )
        self.order_fields(["to", "said_by", "visit", "owner", "due_on", "note"])
