"""What a device needs for the day, read in a fixed number of queries; each shared thing is held once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from combustion.fuels import Fuel
from common.grouping import grouped
from common.prepared import Among, Prepared
from fleet.items import ItemBook, item_book
from fleet.models import Analyser, SafetyLimit, ServiceItem, Site
from fleet.selectors import GasBook, LimitBook, gas_book, limit_book
from people.models import User
from planning.bundle.analysers import analysers_near
from planning.selectors import Day, day_of
from visits.models import Adjustment, Finding
from visits.putting_back import suggestions_together

_findings = Prepared(
    lambda: (
        Finding.objects.open()
        .filter(Among("appliance", "appliances"))
        .select_related("burner", "visit")
        .order_by("pk")
    )
)
_moves = Prepared(
    lambda: (
        Adjustment.objects.filter(Among("visit", "visits"), withdrawn_reason="")
        .select_related("burner")
        .order_by("at", "pk")
    )
)


@dataclass(frozen=True)
class Pool:
    """Things that many share, each kept once under a small number."""

    ids: dict[Any, int] = field(default_factory=dict)
    things: list[Any] = field(default_factory=list)

    def put(self, key: Any, thing: Any) -> int:
        """The number of the thing with this key, which is kept where it is new."""
        if key not in self.ids:
            self.ids[key] = len(self.things) + 1
            self.things.append(thing)
        return self.ids[key]

    def numbered(self) -> Iterable[tuple[int, Any]]:
        """Each thing with its number."""
        return enumerate(self.things, start=1)


@dataclass(frozen=True)
class Bundle:
    """A day with all that bears on it.

    findings: open ones, by appliance.   adjustments: of each last visit.   limits_of, gases_of, items_of:
    numbers in the pools, by plant (gases also by fuel) and by appliance and kind of visit.   put_back:
    settings that a test usually alters, by appliance.
    """

    day: Day
    findings: Mapping[int, Sequence[Finding]]
    adjustments: Mapping[int, Sequence[Adjustment]]
    analysers: Sequence[Analyser]
    limits: Pool
    limits_of: Mapping[int, int]
    gases: Pool
    gases_of: Mapping[int, Mapping[str, int]]
    items: Mapping[int, ServiceItem]
    lists: Pool
    lists_of: Mapping[int, Mapping[str, int]]
    put_back: Mapping[int, Sequence[Mapping[str, Any]]]


def bundle_of(technician: User, on: date) -> Bundle:
    """A technician's day as a device needs it.

    Queries: those of `day_of`, then open findings, adjustments of the last visits, limits, supplied gases,
    items, put-back suggestions with what was noted last, the technician's latest visits, and analysers with
    channels and periods.
    """
    day = day_of(technician, on)
    appliances: list[Any] = [row for stop in day.attendances for row in _in_use(stop)]
    plants: dict[int, Any] = {stop.plant_id: stop.plant for stop in day.attendances}
    sites = {plant.site_id: plant.site for plant in plants.values()}
    last_ids = [row.last.pk for row in appliances if row.last is not None]
    limits, limits_of = _limits(limit_book(), plants, on)
    gases, gases_of = _gases(gas_book(sites.values()), plants, on)
    items, lists, lists_of = _items(item_book(), appliances, {model.pk: model for model in day.models}, on)
    return Bundle(
        day=day,
        findings=grouped(_findings(appliances=[row.pk for row in appliances]), "appliance_id"),
        adjustments=grouped(_moves(visits=last_ids), "visit_id"),
        analysers=analysers_near(technician, on),
        limits=limits,
        limits_of=limits_of,
        gases=gases,
        gases_of=gases_of,
        items=items,
        lists=lists,
        lists_of=lists_of,
        put_back=suggestions_together(appliances, {pk: plant.in_use for pk, plant in plants.items()}, on),
    )


def _in_use(stop: Any) -> list[Any]:
    """The plant's appliances as the day holds them, with the place that each stands in joined."""
    for appliance in stop.plant.in_use:
        appliance.plant = stop.plant
    return list(stop.plant.in_use)


def _limits(book: LimitBook, plants: Mapping[int, Any], on: date) -> tuple[Pool, dict[int, int]]:
    pool, of = Pool(), {}
    for pk, plant in plants.items():
        customer = plant.site.customer
        in_force: list[SafetyLimit] = list(book.in_force(customer.country, customer.pk, on).values())
        of[pk] = pool.put(tuple(row.pk for row in in_force), in_force)
    return pool, of


def _gases(book: GasBook, plants: Mapping[int, Any], on: date) -> tuple[Pool, dict[int, dict[str, int]]]:
    pool, of = Pool(), {}
    for pk, plant in plants.items():
        site: Site = plant.site
        in_force: Mapping[str, Fuel] = book.in_force(site, on)
        # The book makes each gas once, so that one object is one gas.
        of[pk] = {slug: pool.put(id(gas), gas) for slug, gas in in_force.items()}
    return pool, of


def _items(
    book: ItemBook, appliances: Sequence[Any], models: Mapping[int, Any], on: date
) -> tuple[dict[int, ServiceItem], Pool, dict[int, dict[str, int]]]:
    """The items that are asked, and per appliance the list for each kind of visit: worked out once for
    appliances of one model and fuel in one country."""
    asked: dict[int, ServiceItem] = {}
    pool, of = Pool(), {}
    alike: dict[tuple[int, str, str], dict[str, int]] = {}
    for appliance in appliances:
        appliance.model = models[appliance.model_id]
        country = appliance.plant.site.customer.country
        key = (appliance.model_id, appliance.fuel, country)
        if key not in alike:
            alike[key] = {}
            for kind, rows in book.asked_by_kind(appliance, country, on).items():
                asked |= {row.pk: row for row in rows.values()}
                pks = tuple(row.pk for row in rows.values())
                alike[key][kind] = pool.put(pks, pks)
        of[appliance.pk] = alike[key]
    return asked, pool, of
