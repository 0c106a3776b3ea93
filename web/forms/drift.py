"""Filters of the drift pages, all in the address."""

from dataclasses import dataclass
from urllib.parse import urlencode

from django import forms
from django.http import QueryDict
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from analytics.quantities import QUANTITIES
from fleet.models import TrimKind
from web.forms.filters import DueFilterForm
from web.selectors.due import Filters


@dataclass(frozen=True)
class WandererFilters:
    """Which part of the fleet, which trim, whether only what is flagged, and what comes first."""

    place: Filters
    trim: str = ""
    everything: bool = False
    by_cost: bool = False

    def as_query(self) -> str:
        """The same filters for the next address."""
        show, sort = "all" if self.everything else "", "cost" if self.by_cost else ""
        return self.place.as_query(trim=self.trim, show=show, sort=sort)


class WandererFilterForm(DueFilterForm):
    """Filters of the ranked list."""

    trim = forms.ChoiceField(label=_("Trim"), required=False, choices=[("", _("either")), *TrimKind.choices])
    show = forms.ChoiceField(
        label=_("Show"),
        required=False,
        choices=[("", _("flagged")), ("all", _("all that are judged"))],
    )
    sort = forms.ChoiceField(
        label=_("First"), required=False, choices=[("", _("the surest")), ("cost", _("the dearest"))]
    )

    @classmethod
    def chosen(cls, query: QueryDict) -> tuple["WandererFilterForm", WandererFilters]:
        """The form as the address fills it, and what it asks for."""
        form, place = cls.read(query)
        data = getattr(form, "cleaned_data", {})
        filters = WandererFilters(
            place,
            data.get("trim", ""),
            everything=data.get("show") == "all",
            by_cost=data.get("sort") == "cost",
        )
        return form, filters  # type: ignore[return-value]


@dataclass(frozen=True)
class CostFilters:
    """Which part of the fleet, and what comes first."""

    place: Filters
    show: str = ""

    def as_query(self) -> str:
        """The same filters for the next address."""
        return self.place.as_query(show=self.show)


class CostFilterForm(DueFilterForm):
    """Filters of the list of costs."""

    show = forms.ChoiceField(
        label=_("Show"),
        required=False,
        choices=[
            ("", _("the dearest first")),
            ("least", _("those on too little air first")),
            ("unknown", _("those without a figure")),
        ],
    )

    @classmethod
    def chosen(cls, query: QueryDict) -> tuple["CostFilterForm", CostFilters]:
        """The form as the address fills it, and what it asks for."""
        form, place = cls.read(query)
        return form, CostFilters(place, getattr(form, "cleaned_data", {}).get("show", ""))  # type: ignore[return-value]


@dataclass(frozen=True)
class TrendFilters:
    """Which part of the fleet, and which quantity."""

    place: Filters
    quantity: str = ""

    def as_query(self) -> str:
        """The same filters for the next address."""
        return self.place.as_query(quantity=self.quantity)


class TrendFilterForm(DueFilterForm):
    """Filters of what fouling and wear move."""

    quantity = forms.ChoiceField(
        label=_("Quantity"),
        required=False,
        choices=[("", _("all")), *((one.code, capfirst(str(one.name))) for one in QUANTITIES)],
    )

    @classmethod
    def chosen(cls, query: QueryDict) -> tuple["TrendFilterForm", TrendFilters]:
        """The form as the address fills it, and what it asks for."""
        form, place = cls.read(query)
        return form, TrendFilters(place, getattr(form, "cleaned_data", {}).get("quantity", ""))  # type: ignore[return-value]


@dataclass(frozen=True)
class ModelFilters:
    """Which trim, of which models; and the model whose ages are shown."""

    trim: str = TrimKind.THROTTLE.value
    name: str = ""
    one_way: bool = False
    model: int | None = None

    def as_query(self, *, ages: bool = True) -> str:
        """The same filters for the next address; ages: of the model that is shown too."""
        show, model = "drifting" if self.one_way else "", self.model if ages else None
        chosen = {"trim": self.trim, "name": self.name, "show": show, "model": model}
        return urlencode({name: value for name, value in chosen.items() if value})


class ModelFilterForm(forms.Form):
    """Filters of the models."""

    trim = forms.ChoiceField(label=_("Trim"), required=False, choices=TrimKind.choices)
    name = forms.CharField(label=_("Maker's or model's name holds"), required=False, max_length=100)
    show = forms.ChoiceField(
        label=_("Show"),
        required=False,
        choices=[("", _("all models")), ("drifting", _("those that surely drift"))],
    )
    model = forms.IntegerField(required=False, min_value=1, max_value=2**62, widget=forms.HiddenInput)

    @classmethod
    def chosen(cls, query: QueryDict) -> tuple["ModelFilterForm", ModelFilters]:
        """The form as the address fills it, and what it asks for."""
        form = cls(query)
        form.is_valid()
        data = getattr(form, "cleaned_data", {})
        return form, ModelFilters(
            trim=data.get("trim") or TrimKind.THROTTLE.value,
            name=data.get("name", ""),
            one_way=data.get("show") == "drifting",
            model=data.get("model"),
        )
