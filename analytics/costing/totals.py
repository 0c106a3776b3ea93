"""Costs summed over burners: what each shares with others is added fully, what is its own as squares."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import Count, F, Q, QuerySet, Sum

from analytics.models import PARTS, TuningCost
from combustion import fuels

COVERAGE_Z = 1.959964
_COMMON = ("air", "flue", "response", "split", "use")
"""One error in every burner: the assumptions are the same for all."""


@dataclass(frozen=True)
class Reach:
    """A sum with its 95 % interval, in one unit."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> "Reach":
        """In another unit; factor 0 or above."""
        return Reach(self.value * factor, self.low * factor, self.high * factor)

    def __neg__(self) -> "Reach":
        return Reach(-self.value, -self.high, -self.low)

    @property
    def surely(self) -> int:
        """1 where the interval lies above 0, -1 below, 0 where it holds 0."""
        return int(self.low > 0.0) - int(self.high < 0.0)


@dataclass(frozen=True)
class Total:
    """Burners together. money: by currency, of those with a price, of which there are `priced`."""

    burners: int
    costing: int
    saving: int
    unknown: int
    priced: int
    energy_kwh: Reach
    co2_kg: Reach
    money: Mapping[str, Reach]

    def as_json(self) -> dict[str, Any]:
        """For a column of JSON."""
        return {
            **{name: getattr(self, name) for name in ("burners", "costing", "saving", "unknown", "priced")},
            "energy_kwh": _ends(self.energy_kwh),
            "co2_kg": _ends(self.co2_kg),
            "money": {currency: _ends(reach) for currency, reach in self.money.items()},
        }

    @classmethod
    def of_json(cls, kept: Mapping[str, Any]) -> "Total | None":
        """From such a column; None where nothing was kept."""
        if not kept:
            return None
        counts = {name: kept[name] for name in ("burners", "costing", "saving", "unknown", "priced")}
        money = {currency: Reach(*ends) for currency, ends in kept["money"].items()}
        return cls(
            **counts, energy_kwh=Reach(*kept["energy_kwh"]), co2_kg=Reach(*kept["co2_kg"]), money=money
        )


def total_of(rows: QuerySet[TuningCost]) -> Total:
    """All of the rows together. One query, whatever their number: grouped by what they share."""
    known = Q(lost_kwh__isnull=False)
    counts = {
        "burners": Count("pk", filter=known),
        "unknown": Count("pk", filter=~known),
        "costing": Count("pk", filter=Q(lost_low_kwh__gt=0.0)),
        "saving": Count("pk", filter=Q(lost_high_kwh__lt=0.0)),
        "priced": Count("pk", filter=known & Q(price_per_kwh__isnull=False)),
    }
    groups: list[Any] = list(
        rows.order_by()
        .values("period", "appliance__plant__site__gas_area", "fuel", "currency", "price_per_kwh")
        .annotate(
            **counts,
            sum=Sum("lost_kwh"),
            own2=Sum(F("part_own_kwh") * F("part_own_kwh")),
            **{name: Sum(f"part_{name}_kwh") for name in PARTS if name != "own"},
        )
    )
    told = [row for row in groups if row["burners"]]
    factor = {row["fuel"]: fuels.fuel(row["fuel"]).co2_kg_per_kwh_gross for row in told}
    currencies = sorted({row["currency"] for row in told if row["currency"]})
    return Total(
        **{name: sum(row[name] for row in groups) for name in counts},
        energy_kwh=_added((row, 1.0) for row in told),
        co2_kg=_added((row, factor[row["fuel"]]) for row in told),
        money={
            currency: _added(
                (row, row["price_per_kwh"] or 0.0) for row in told if row["currency"] == currency
            )
            for currency in currencies
        },
    )


def burners_together(rows: Iterable[TuningCost], worth: str = "") -> Reach | None:
    """One appliance's burners: in kWh, or in what the attribute `worth` says of a kWh. None without a figure.

    One burner alone keeps its own skewed interval.
    """
    known = [row for row in rows if row.lost_kwh is not None]
    factors = [getattr(row, worth) if worth else 1.0 for row in known]
    if not known or any(factor is None for factor in factors):
        return None
    if len(known) == 1:
        row, factor = known[0], factors[0]
        return Reach(row.lost_kwh * factor, row.lost_low_kwh * factor, row.lost_high_kwh * factor)  # type: ignore[operator]
    return _added((_group_of(row), factor) for row, factor in zip(known, factors, strict=True))


def _group_of(row: TuningCost) -> dict[str, Any]:
    parts = {name: getattr(row, f"part_{name}_kwh") for name in PARTS}
    own2 = parts.pop("own") ** 2
    same_area = {"appliance__plant__site__gas_area": None}
    return {"sum": row.lost_kwh, "own2": own2, "period": row.period_id, **same_area, **parts}


def _added(weighted: Iterable[tuple[Mapping[str, Any], float]]) -> Reach:
    """Groups of burners, each with what its kWh is worth, as one sum with its interval."""
    value, variance = 0.0, 0.0
    shared: dict[tuple[str, Any], float] = {}
    for row, worth in weighted:
        value += row["sum"] * worth
        variance += row["own2"] * worth**2
        where = {"analyser": row["period"], "gas": row["appliance__plant__site__gas_area"]}
        for name in ("analyser", "gas", *_COMMON):
            key = (name, where.get(name))
            shared[key] = shared.get(key, 0.0) + (row[name] or 0.0) * worth
    half = COVERAGE_Z * float(np.sqrt(variance + sum(part**2 for part in shared.values())))
    return Reach(value, value - half, value + half)


def _ends(reach: Reach) -> list[float]:
    return [reach.value, reach.low, reach.high]
