"""What visits are judged by beside their own rows, looked up once for many."""

from collections.abc import Collection, Iterable, Mapping
from datetime import date
from typing import Any

from combustion.fuels import Fuel
from common.grouping import grouped
from fleet.models import AnalyserChannel, Appliance, FiringSpec, ModelTrim
from fleet.selectors import gas_book, limit_book
from visits.judging.case import Limits


class Grounds:
    """The specs and trims of some appliances' models, the channels of some analysers, limits and gases.

    Five queries, however many. The appliances have their model, plant, site and customer at hand.
    """

    def __init__(self, appliances: Iterable[Appliance], analyser_ids: Collection[int]) -> None:
        appliances = list(appliances)
        models = {appliance.model_id for appliance in appliances}
        trims = ModelTrim.objects.filter(model__in=models).select_related("sensitivity")
        channels = AnalyserChannel.objects.filter(analyser__in=analyser_ids)
        self._specs = grouped(FiringSpec.objects.filter(model__in=models), "model_id")
        self._trims = _by_kind(trims, "model_id", "kind")
        self._channels = _by_kind(channels, "analyser_id", "quantity")
        self._limit_book = limit_book()
        self._gas_book = gas_book({appliance.plant.site for appliance in appliances})
        self._limits: dict[tuple[str, int, date], Limits] = {}
        self._gases: dict[tuple[int, date], Mapping[str, Fuel]] = {}

    def of(self, appliance: Appliance, on: date) -> dict[str, Any]:
        """The members of a case that come from the place, for a visit of that local day."""
        return {
            "specs": self._specs[appliance.model_id],
            "trims": self._trims.get(appliance.model_id, {}),
            "limits": self._limits_of(appliance, on),
            "gases": self._gases_of(appliance, on) if self._gas_book.rows else {},
        }

    def channels_of(self, analyser_id: int | None) -> dict[str, AnalyserChannel]:
        """An analyser's channels by quantity; none where it is not on file."""
        return {} if analyser_id is None else self._channels.get(analyser_id, {})

    def _limits_of(self, appliance: Appliance, on: date) -> Limits:
        customer = appliance.plant.site.customer
        key = (customer.country, customer.pk, on)
        if key not in self._limits:
            self._limits[key] = self._limit_book.in_force(*key)
        return self._limits[key]

    def _gases_of(self, appliance: Appliance, on: date) -> Mapping[str, Fuel]:
        site = appliance.plant.site
        if (site.pk, on) not in self._gases:
            self._gases[site.pk, on] = self._gas_book.in_force(site, on)
        return self._gases[site.pk, on]


def _by_kind(rows: Iterable[Any], owner: str, kind: str) -> dict[int, dict[str, Any]]:
    return {key: {getattr(row, kind): row for row in own} for key, own in grouped(rows, owner).items()}
