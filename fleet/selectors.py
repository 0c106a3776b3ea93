"""Reads on the fleet."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import BigIntegerField, Q

from combustion.fuels import Fuel
from common.prepared import Among, Bind, Prepared
from fleet.models import SafetyLimit, Site, SuppliedGas

LimitKey = tuple[str, str]


@dataclass(frozen=True)
class LimitBook:
    """All safety limits, read once: asked for many customers and days without another query."""

    rows: tuple[SafetyLimit, ...]

    def in_force(self, country: str, customer_id: int | None, on: date) -> dict[LimitKey, SafetyLimit]:
        """The limit per (quantity, level) for a customer in a country on a day.

        The most particular row wins: the customer's, else the country's, else the general one; of equally
        particular rows the one that came into force last. A quantity without a row has no limit here.
        """
        chosen: dict[LimitKey, SafetyLimit] = {}
        for row in sorted(self._applying(country, customer_id, on), key=_particularity):
            chosen[row.quantity, row.level] = row
        return chosen

    def _applying(self, country: str, customer_id: int | None, on: date) -> Iterable[SafetyLimit]:
        return (
            row
            for row in self.rows
            if row.in_force_on <= on
            and row.country in ("", country)
            and (row.customer_id is None or row.customer_id == customer_id)
        )


LIMITS = Prepared(lambda: SafetyLimit.objects.order_by("pk"))
"""Every limit on file."""


def limit_book() -> LimitBook:
    """Every limit on file, in one query."""
    return LimitBook(tuple(LIMITS()))


def limits_in_force(country: str, customer_id: int | None, on: date) -> dict[LimitKey, SafetyLimit]:
    """The limits of one customer on one day, by (quantity, level), in one query. See `LimitBook.in_force`."""
    return limit_book().in_force(country, customer_id, on)


def values_at(level: str, limits: Mapping[LimitKey, SafetyLimit]) -> dict[str, float]:
    """The limits of one level, by quantity."""
    return {quantity: row.value for (quantity, of), row in limits.items() if of == level}


def _particularity(row: SafetyLimit) -> tuple[bool, bool, date]:
    return row.customer_id is not None, bool(row.country), row.in_force_on


@dataclass(frozen=True)
class GasBook:
    """Supplied gases, read once: each becomes a fuel once, however many visits burned it."""

    rows: tuple[tuple[SuppliedGas, Fuel], ...]

    def in_force(self, site: Site, on: date) -> Mapping[str, Fuel]:
        """By the slug of the fuel it stands in for: the gas of a site on a day, its own before its area's."""
        applying = [
            (row, gas)
            for row, gas in self.rows
            if row.from_on <= on
            and (
                row.site_id == site.pk
                or (row.gas_area_id is not None and row.gas_area_id == site.gas_area_id)
            )
        ]
        applying.sort(key=lambda pair: (pair[0].site_id is not None, pair[0].from_on))
        return {row.fuel: gas for row, gas in applying}


_gases = Prepared(
    lambda: SuppliedGas.objects.filter(
        Q(site=Bind("site", BigIntegerField())) | Q(gas_area__sites=Bind("site", BigIntegerField()))
    )
)


_gases_among = Prepared(
    lambda: SuppliedGas.objects.filter(Q(Among("site", "sites")) | Q(Among("gas_area", "areas")))
)


def gases_of_site(site: Site) -> GasBook:
    """What was ever supplied to one site, by itself or through its gas area, in one query."""
    return _book(_gases(site=site.pk))


def gas_book(sites: Iterable[Site]) -> GasBook:
    """What was ever supplied to any of these sites, in one query."""
    known = list(sites)
    areas = {site.gas_area_id for site in known} - {None}
    return _book(_gases_among(sites={site.pk for site in known}, areas=areas))


def _book(rows: Iterable[SuppliedGas]) -> GasBook:
    return GasBook(tuple((row, row.as_fuel()) for row in rows))
