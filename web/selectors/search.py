"""One search across customers, sites, plants, appliances and burners.

A word of three letters or more is looked for anywhere, a shorter one where a word begins: both can be
answered from trigram indexes where PostgreSQL has them. Each kind of thing is found as the union of what each
column gives, never with an OR across tables, which no index serves.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import Q, QuerySet

from fleet.models import Appliance, ApplianceModel, Burner, Customer, Plant, Site
from people.models import User

EACH = 20
LEAST_LETTERS = 2
ANYWHERE_FROM = 3
MOST_WORDS = 6
LOOKED_AT = 400
"""So many rows of a kind are put in order at most: of more, one word more finds the right one sooner."""


@dataclass(frozen=True)
class Found:
    """What a text was found in, at most some of each kind."""

    customers: Iterable[Customer] = ()
    sites: Iterable[Site] = ()
    plants: Iterable[Plant] = ()
    appliances: Iterable[Appliance] = ()

    @property
    def nothing(self) -> bool:
        """Nothing was found at all."""
        return not (self.customers or self.sites or self.plants or self.appliances)


def search(*, user: User, text: str) -> Found:
    """Names, addresses, tags and serials that hold the text, letters' case aside; eight queries."""
    words = text.split()[:MOST_WORDS]
    if len(text.strip()) < LEAST_LETTERS:
        return Found()
    customers, sites = Customer.objects.visible_to(user), Site.objects.visible_to(user)
    plants, appliances = Plant.objects.visible_to(user), Appliance.objects.visible_to(user)
    return Found(
        customers=_first(customers, words, _customers, "name"),
        sites=_first(sites.select_related("customer"), words, _sites, "name"),
        plants=_first(plants.select_related("site__customer"), words, _plants, "name"),
        appliances=_first(appliances.with_place(), words, _appliances, "tag"),
    )


def _first(rows: Any, words: list[str], holding: Any, order: str) -> list[Any]:
    """The first in order among those that hold every word."""
    held = rows.order_by()
    for word in words:
        held = held.filter(pk__in=holding(word))
    keys = list(held.values_list("pk", flat=True)[:LOOKED_AT])
    return list(
        rows.model.objects.none() if not keys else rows.filter(pk__in=keys).order_by(order, "pk")[:EACH]
    )


def _customers(word: str) -> "QuerySet[Any]":
    return Customer.objects.filter(_holds("name", word)).values("pk")


def _sites(word: str) -> "QuerySet[Any]":
    own = Site.objects.filter(_holds("name", word) | _holds("address", word))
    return _either(own, Site.objects.filter(customer__in=_customers(word)))


def _plants(word: str) -> "QuerySet[Any]":
    named = Site.objects.filter(_holds("name", word)).values("pk")
    return _either(Plant.objects.filter(_holds("name", word)), Plant.objects.filter(site__in=named))


def _appliances(word: str) -> "QuerySet[Any]":
    models = ApplianceModel.objects.filter(_holds("name", word)).values("pk")
    burners = Burner.objects.filter(_holds("name", word)).values("appliance")
    return _either(
        Appliance.objects.filter(_holds("tag", word) | _holds("serial", word)),
        Appliance.objects.filter(pk__in=burners),
        Appliance.objects.filter(model__in=models),
        Appliance.objects.filter(plant__in=_plants(word)),
    )


def _either(*ways: "QuerySet[Any]") -> "QuerySet[Any]":
    first, *others = (way.order_by().values("pk") for way in ways)
    return first.union(*others, all=True)


def _holds(column: str, word: str) -> Q:
    if len(word) >= ANYWHERE_FROM:
        return Q(**{f"{column}__icontains": word})
    within = (Q(**{f"{column}__icontains": f"{mark}{word}"}) for mark in "- ")
    return reduce(or_, within, Q(**{f"{column}__istartswith": word}))
