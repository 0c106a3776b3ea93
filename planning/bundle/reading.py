"""What a device needs for the day, read in a fixed number of queries; each shared thing is held once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import (
    BigIntegerField,
    BooleanField,
    DateField,
    Exists,
    ExpressionWrapper,
    OuterRef,
    Q,
    QuerySet,
    Value,
)
from django.db.models.functions import Coalesce

from combustion.fuels import Fuel
from common.grouping import grouped
from common.prepared import Among, Bind, Prepared, hang
from fleet.items import ItemBook, item_book
from fleet.models import Analyser, AnalyserChannel, AnalyserPeriod, SafetyLimit, ServiceItem, Site
from fleet.selectors import GasBook, LimitBook, gas_book, limit_book
from people.models import User
from planning.selectors import Day, day_of
from visits.models import Adjustment, Finding, Visit
from visits.putting_back import suggestions_together

LATEST_VISITS = 60
"""Of the technician's own: what they have measured with lately is what they carry."""
BUSY_VISITS = 2_000
"""Of the firm: what was measured with in its latest visits is likely in a colleague's hands."""
MOST_ANALYSERS = 40
"""So many are told: beyond that one is taken by its tag or serial, as `/analysers/` tells it."""

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
_latest = Prepared(
    lambda: (
        Visit.objects.filter(technician=Bind("technician", BigIntegerField()))
        .order_by("-opened_at", "-pk")
        .only("analyser_id")[:LATEST_VISITS]
    )
)
_channels = Prepared(lambda: AnalyserChannel.objects.filter(Among("analyser", "analysers")))


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
        analysers=_analysers(technician, on),
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


def _analysers(technician: User, on: date) -> list[Analyser]:
    """The analysers in use, each with `period`, the newest begun by the day or None: what the technician
    measured with lately, then what lies free, then the others."""
    own = {visit.analyser_id for visit in _latest(technician=technician.pk)} - {None}
    analysers: list[Any] = _by_nearness(own=own)
    keys = [analyser.pk for analyser in analysers]
    hang(_channels(analysers=keys), analysers, by="analyser_id", under="channels")
    period_of = {period.analyser_id: period for period in _periods(analysers=keys, on=on)}
    for analyser in analysers:
        analyser.period = period_of.get(analyser.pk)
    return analysers


def _nearest_analysers() -> QuerySet[Analyser]:
    latest = Visit.objects.filter(analyser__isnull=False).order_by("-opened_at", "-pk")
    busy = Q(pk__in=latest.values("analyser")[:BUSY_VISITS])
    in_use = Analyser.objects.filter(retired_on__isnull=True).annotate(
        own=Among("pk", "own"), busy=ExpressionWrapper(busy, output_field=BooleanField())
    )
    return in_use.order_by("-own", "busy", "tag")[:MOST_ANALYSERS]


def _periods_of_the_day() -> QuerySet[AnalyserPeriod]:
    begun = AnalyserPeriod.objects.filter(
        Q(starts_on__isnull=True) | Q(starts_on__lte=Bind("on", DateField()))
    )
    start = Coalesce(OuterRef("starts_on"), Value(date.min))
    newer = begun.filter(analyser=OuterRef("analyser"), starts_on__gt=start)
    return begun.filter(Among("analyser", "analysers"), ~Exists(newer))


_by_nearness = Prepared(_nearest_analysers)
_periods = Prepared(_periods_of_the_day)
