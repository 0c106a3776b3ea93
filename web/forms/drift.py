"""Filters of the drift pages, all in the address."""

from dataclasses import dataclass
from urllib.parse import urlencode

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from fleet.models import TrimKind
from web.forms.filters import DueFilterForm
from web.selectors.due import Filters


@dataclass(frozen=True)
class WandererFilters:
    """Which part of the fleet, which trim, and whether only what is flagged."""

    place: Filters
    trim: str = ""
    everything: bool = False

    def as_query(self) -> str:
        """The same filters for the next address."""
        own = {"trim": self.trim, "show": "all" if self.everything else ""}
        more = urlencode({name: value for name, value in own.items() if value})
        return "&".join(part for part in (self.place.as_query(), more) if part)


class WandererFilterForm(DueFilterForm):
    """Filters of the ranked list."""

    trim = forms.ChoiceField(label=_("Trim"), required=False, choices=[("", _("either")), *TrimKind.choices])
    show = forms.ChoiceField(
        label=_("Show"),
        required=False,
        choices=[("", _("flagged")), ("all", _("all that are judged"))],
    )

    @classmethod
    def chosen(cls, query: QueryDict) -> tuple["WandererFilterForm", WandererFilters]:
        """The form as the address fills it, and what it asks for."""
        form, place = cls.read(query)
        data = getattr(form, "cleaned_data", {})
        filters = WandererFilters(place, data.get("trim", ""), everything=data.get("show") == "all")
        return form, filters  # type: ignore[return-value]
