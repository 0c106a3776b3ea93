"""What a person sets for themselves."""

from django import forms
from django.utils.translation import gettext_lazy as _

from people.models import User
from web.themes import CHOICES


class ScreenForm(forms.ModelForm):  # type: ignore[type-arg]
    """Units for every screen, theme for this device."""

    theme = forms.ChoiceField(
        label=_("Light or dark"), choices=CHOICES, required=False, help_text=_("Kept on this device only.")
    )

    class Meta:
        model = User
        fields = ["units"]
        labels = {"units": _("Units on screens")}
        help_texts = {"units": _("Only what you see changes; the record stays in SI.")}


class DeviceForm(forms.Form):
    """A name for a device that will send visits."""

    name = forms.CharField(
        label=_("Name of the device"), max_length=80, help_text=_("So that you know later which one to end.")
    )
