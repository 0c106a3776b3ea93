"""What a kWh of gas costs each burner: the contract's price, else its customer's, else the firm's own."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from fleet.models import Contract, GasPrice

Price = tuple[float, str]
"""Per kWh of gross heat, and the currency."""


@dataclass(frozen=True)
class PriceBook:
    """Prices in force on a day: by owner and fuel, and which contract holds each plant."""

    prices: Mapping[tuple[str, int, str], Price]
    contract_of: Mapping[int, int]

    def of(self, plant: int, customer: int, fuel: str) -> Price | None:
        """The most particular price, None where nobody has stated one."""
        contract = self.contract_of.get(plant, 0)
        for owner in (("contract", contract), ("customer", customer), ("firm", 0)):
            for kind in (fuel, ""):
                if found := self.prices.get((*owner, kind)):
                    return found
        return None


def price_book(on: date) -> PriceBook:
    """All prices in force on a day. Two queries."""
    rows = list(GasPrice.objects.filter(in_force_on__lte=on).order_by("in_force_on", "pk"))
    prices = {(*_owner(row), row.fuel): (float(row.price_per_kwh), row.currency) for row in rows}
    priced = [row.contract_id for row in rows if row.contract_id is not None]
    held = Contract.plants.through.objects.filter(contract__in=priced, contract__starts_on__lte=on)
    held = held.exclude(contract__ends_on__lt=on).order_by("contract__starts_on", "contract_id")
    # of two contracts with a price for one plant the newer wins
    return PriceBook(prices, dict(held.values_list("plant_id", "contract_id")))


def prices_of(
    book: PriceBook, plants: Iterable[int], customers: Iterable[int], fuels: Iterable[str]
) -> list[Price | None]:
    """One per burner; each place is looked up once."""
    known: dict[tuple[int, int, str], Price | None] = {}
    found = []
    for place in zip(plants, customers, fuels, strict=True):
        if place not in known:
            known[place] = book.of(*place)
        found.append(known[place])
    return found


def _owner(row: GasPrice) -> tuple[str, int]:
    if row.contract_id is not None:
        return "contract", row.contract_id
    return ("customer", row.customer_id) if row.customer_id is not None else ("firm", 0)
