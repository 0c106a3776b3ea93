"""Setting an appliance's safety state."""

from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.models import Appliance, SafetyEvent, SafetyState
from fleet.safety import categories_of

STATES = [(SafetyState(value).value, word) for value, word in SafetyState.choices]


class SafetyForm(forms.Form):
    """Which state, why, who was told and what they said."""

    state = forms.ChoiceField(label=_("It is now"), choices=STATES)
    reason = forms.CharField(
        label=_("Why, or what was done"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )
    told = forms.CharField(
        label=_("Who was told"), max_length=120, required=False, help_text=_("By name, at the site.")
    )
    answer = forms.ChoiceField(
        label=_("What they said"),
        choices=[("", _("nothing noted")), *SafetyEvent.Answer.choices],
        required=False,
    )
    category = forms.ChoiceField(
        label=_("What the trade calls it"),
        required=False,
        help_text=_("Local procedure says what follows from it."),
    )
    at = forms.DateTimeField(
        label=_("When"),
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text=_("The clock at the site; empty: now."),
    )
    last_event = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args: Any, appliance: Appliance, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial.setdefault("state", appliance.safety_state)
        rows = categories_of(appliance.plant.site.customer.country)
        words = [("", _("no category")), *((row.code, row.name) for row in rows)]
        cast(forms.ChoiceField, self.fields["category"]).choices = words
