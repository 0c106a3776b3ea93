"""A price that was stated or changed is taken up by the run that readers see: money is gas times its price.

The gas stays as it was reckoned, with its interval; a price is exact, so its interval only changes its unit.
"""

from collections import defaultdict
from datetime import date, datetime

from django.db import transaction
from django.db.models import F

from analytics.costing.prices import price_book, prices_of
from analytics.costing.totals import total_of
from analytics.models import DriftRun, PriceDuty, TuningCost
from fleet.models import Appliance

BURNERS_AT_ONCE = 1_000
_COLUMNS = (
    "burner", "price_per_kwh", "currency", "appliance__plant", "appliance__plant__site__customer", "fuel",
)  # fmt: skip


def prices_ask() -> None:
    """Note that a price, or which plants a priced contract holds, was changed."""
    PriceDuty.objects.get_or_create(only=1)
    PriceDuty.objects.filter(only=1).update(asked=F("asked") + 1)


def prices_owed() -> int:
    """The count that was asked for and not answered yet; 0 where nothing is owed."""
    owed = PriceDuty.objects.filter(asked__gt=F("answered"))
    return owed.values_list("asked", flat=True).first() or 0


def prices_answer(run: DriftRun | None, *, now: datetime, on: date) -> int:
    """Have a run's costs follow the prices in force on a day. Returns the burners whose price changed.

    Broken off it begins again, and writes only what is not right yet; two at once come to the same.
    """
    asked = prices_owed()
    changed = costs_reprice(run, now=now, on=on) if run is not None else 0
    # by the count that was read before: what was changed meanwhile is still owed
    PriceDuty.objects.filter(only=1, answered__lt=asked).update(answered=asked)
    return changed


def costs_reprice(run: DriftRun, *, now: datetime, on: date) -> int:
    """Give every burner of a run its price on a day, page by page, then sum the run anew."""
    last, changed = 0, 0
    while page := _burners_after(run, last):
        changed += _page_reprice(run, page, on)
        last = page[-1][0]
    with transaction.atomic():
        # of two at once, the later sum is the one that stays
        DriftRun.objects.select_for_update().defer("kept").get(pk=run.pk)
        total = total_of(TuningCost.objects.filter(run=run)).as_json()
        DriftRun.objects.filter(pk=run.pk).update(tuning_cost=total, priced_at=now)
    return changed


def _burners_after(run: DriftRun, last: int) -> list[tuple[int, int]]:
    rows = TuningCost.objects.filter(run=run, burner__gt=last).order_by("burner")
    return list(rows.values_list("burner", "appliance")[:BURNERS_AT_ONCE])


@transaction.atomic
def _page_reprice(run: DriftRun, page: list[tuple[int, int]], on: date) -> int:
    # a refit that has read older prices is waited for, and one that comes later reads the newer ones
    held = Appliance.objects.select_for_update(no_key=True).filter(pk__in={row[1] for row in page})
    list(held.order_by("pk").values_list("pk"))
    own = TuningCost.objects.filter(run=run, burner__in=[row[0] for row in page]).order_by()
    found = list(own.values_list(*_COLUMNS))
    plants, customers, fuels = zip(*(row[3:] for row in found), strict=True) if found else ((), (), ())
    prices = prices_of(price_book(on), plants, customers, fuels)
    wrong = defaultdict(list)
    for row, price in zip(found, prices, strict=True):
        if row[1:3] != (right := price or (None, "")):
            wrong[right].append(row[0])
    for (price_per_kwh, currency), burners in wrong.items():
        own.filter(burner__in=burners).update(price_per_kwh=price_per_kwh, currency=currency)
    return sum(map(len, wrong.values()))
