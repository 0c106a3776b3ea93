"""Reads on the fleet."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from common.prepared import Prepared
from fleet.models import SafetyLimit

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


_limits = Prepared(lambda: SafetyLimit.objects.order_by("pk"))


def limit_book() -> LimitBook:
    """Every limit on file, in one query."""
    return LimitBook(tuple(_limits()))


def limits_in_force(country: str, customer_id: int | None, on: date) -> dict[LimitKey, SafetyLimit]:
    """The limits of one customer on one day, by (quantity, level), in one query. See `LimitBook.in_force`."""
    return limit_book().in_force(country, customer_id, on)


def _particularity(row: SafetyLimit) -> tuple[bool, bool, date]:
    return row.customer_id is not None, bool(row.country), row.in_force_on
