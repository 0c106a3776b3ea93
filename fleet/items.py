"""The list of items that a visit is asked for, chosen by appliance, country, kind of visit and day."""

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Any

from django.db import connection
from django.db.models import Max, Value

from common.prepared import Prepared
from fleet.models import Appliance, ItemSet, ServiceItem, WorkStep
from fleet.models.items import VISIT_KINDS

CAUTION = (
    "Licensed people only. Isolate gas and electricity, prove it, before anything is opened. The maker's "
    "instructions and local codes come before this list, and nothing in it declares an appliance safe."
)
STEP_CAUTIONS: Mapping[str, str] = {
    WorkStep.ARRIVE: "CO alarm on before the door is opened. Smell of gas: no flame, no switch: out.",
    WorkStep.AS_FOUND: "Case closed. CO at the make-safe level ends the test: make safe first.",
    WorkStep.ISOLATE: "Gas and electricity off, locked and proved; let it cool before it is opened.",
    WorkStep.REASSEMBLE: "No firing before what was disturbed is proved tight.",
    WorkStep.SAFETY_DEVICES: "Never bridge a safety device. One that fails leaves the appliance off.",
    WorkStep.FIRING: "Watch CO from light-off. At the make-safe level shut down first and write afterwards.",
    WorkStep.PUT_BACK: "Put every setting back to what it was, on every unit of the plant.",
}
MOST_KEPT = 2000
_STEP_ORDER = {step: place for place, step in enumerate(WorkStep.values)}


@dataclass(frozen=True)
class ItemBook:
    """All items of all sets, read once: asked for many appliances and days without another query.

    What was chosen is kept: appliances of one model are asked the same from one set's day to the next.
    """

    rows: tuple[ServiceItem, ...]
    _kept: dict[tuple[Any, ...], list[ServiceItem]] = field(default_factory=dict, compare=False, repr=False)

    def asked(
        self, appliance: Appliance, country: str, visit_kind: str, on: date, fuel: str = ""
    ) -> dict[str, ServiceItem]:
        """What a visit of a kind to an appliance is asked on a day, by code, in the order of work.

        The most particular row of a code wins: the model's, else the country's, else the general one; of
        equally particular rows that for the kind of appliance, then the one in force last. `fuel` is what is
        burned, the appliance's where it is left out. No query where the appliance has its model joined.
        """
        return _of_kind(self._chosen(appliance, country, fuel or appliance.fuel, on), visit_kind)

    def asked_by_kind(
        self, appliance: Appliance, country: str, on: date
    ) -> dict[str, dict[str, ServiceItem]]:
        """What `asked` gives for each kind of visit."""
        rows = self._chosen(appliance, country, appliance.fuel, on)
        return {kind: _of_kind(rows, kind) for kind in VISIT_KINDS}

    def _chosen(self, appliance: Appliance, country: str, fuel: str, on: date) -> list[ServiceItem]:
        """The most particular row of each code that asks something, in the order of work."""
        model, sets_in_force = appliance.model, bisect_right(self._set_days, on)
        key = (model.pk, model.kind, model.condensing, country, fuel, sets_in_force)
        chosen = self._kept.get(key)
        if chosen is None:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            chosen = self._kept[key] = self._choose(appliance, country, fuel, on)
        return chosen

    @cached_property
    def _set_days(self) -> list[date]:
        return sorted({row.item_set.in_force_on for row in self.rows})

    def _choose(self, appliance: Appliance, country: str, fuel: str, on: date) -> list[ServiceItem]:
        chosen: dict[str, ServiceItem] = {}
        for row in sorted(self._applying(appliance, country, fuel, on), key=_particularity):
            chosen[row.code] = row
        return sorted((row for row in chosen.values() if row.asked), key=_place)

    def _applying(self, appliance: Appliance, country: str, fuel: str, on: date) -> Iterable[ServiceItem]:
        model = appliance.model
        for row in self.rows:
            held = row.item_set
            if (
                held.in_force_on <= on
                and held.country in ("", country)
                and held.kind in ("", model.kind)
                and held.model_id in (None, appliance.model_id)
                and (not row.fuels or fuel in row.fuels)
                and (model.condensing or not row.condensing_only)
            ):
                yield row


def _particularity(row: ServiceItem) -> tuple[bool, bool, bool, date]:
    held = row.item_set
    return held.model_id is not None, bool(held.country), bool(held.kind), held.in_force_on


def _of_kind(rows: Iterable[ServiceItem], visit_kind: str) -> dict[str, ServiceItem]:
    return {row.code: row for row in rows if not row.visit_kinds or visit_kind in row.visit_kinds}


def _place(row: ServiceItem) -> tuple[int, int, str]:
    return _STEP_ORDER[row.step], row.position, row.code


_items = Prepared(lambda: ServiceItem.objects.select_related("item_set").order_by("pk"))
_read: dict[str, tuple[datetime, ItemBook]] = {}


def item_book() -> ItemBook:
    """Every item on file, in one query."""
    return ItemBook(tuple(_items()))


def item_book_of(stamp: datetime | None) -> ItemBook:
    """Every item on file as of the stamp of `newest_change`: read again only where that has moved.

    The lists change a few times a year and every save of a visit needs them; the stamp travels with another
    query.
    """
    if stamp is None:
        return ItemBook(())
    name = str(connection.settings_dict["NAME"])
    held = _read.get(name)
    if held is None or held[0] != stamp:
        held = _read[name] = (stamp, item_book())
    return held[1]


def newest_change() -> Any:
    """Subquery rows: when any set was last changed."""
    return ItemSet.objects.order_by().values(all=Value(1)).annotate(newest=Max("changed_at")).values("newest")


def item_answer(row: ServiceItem) -> dict[str, Any]:
    """One item as a device needs it."""
    return {
        "code": row.code,
        "step": row.step,
        "text": row.text,
        "answer": row.answer,
        "unit": row.unit,
        "low": row.low,
        "high": row.high,
        "choices": row.choices,
        "source": row.source,
        "mark": row.mark,
        "required": row.required,
        "opens": row.opens,
        "proves_tight": row.proves_tight,
        "safety_quantity": row.safety_quantity,
        "caution": row.caution,
    }


def items_answer(book: ItemBook, appliance: Appliance, visit_kind: str, on: date) -> dict[str, Any]:
    """The whole list of one visit: steps in the order of work, each with its caution and its items.

    The appliance comes with model, plant, site and customer joined.
    """
    country = appliance.plant.site.customer.country
    rows = book.asked(appliance, country, visit_kind, on)
    steps = []
    for step in WorkStep:
        own = [item_answer(row) for row in rows.values() if row.step == step]
        if own:
            caution = STEP_CAUTIONS.get(step, "")
            steps.append({"code": step.value, "title": str(step.label), "caution": caution, "items": own})
    return {
        "appliance": str(appliance.uuid),
        "country": country,
        "kind": visit_kind,
        "on": on.isoformat(),
        "caution": CAUTION,
        "steps": steps,
    }
