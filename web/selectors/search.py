"""One search across customers, sites, plants, appliances and burners.

A word of three letters or more is looked for anywhere, a shorter one where a word begins: both can be
answered from trigram indexes where PostgreSQL has them. Each kind of thing is found as the union of what each
way gives, never with an OR across tables, which no index serves.
"""

from collections.abc import Callable, Iterable
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
"""So many rows a kind and way are put in order at most: of more, one word more finds the right one sooner."""

Ways = Callable[[str], list[Q]]
"""The ways in which a row holds a word, each of one table's columns or by a key into another table."""


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


def _first(rows: Any, words: list[str], ways: Ways, order: str) -> list[Any]:
    """The first in order among those that hold every word, in one way or another."""
    held = rows.order_by()
    *others, last = words
    for word in others:
        held = held.filter(pk__in=_either(held.model.objects.filter(way) for way in ways(word)))
    keys = list(_either(_some(held.filter(way)) for way in ways(last)))
    return list(rows.filter(pk__in=keys or [0]).order_by(order, "pk")[:EACH])


def _some(rows: "QuerySet[Any]") -> "QuerySet[Any]":
    """So many of these as are looked at: what is found everywhere is not read to its end."""
    some: QuerySet[Any] = rows.model._default_manager.filter(pk__in=rows.values("pk")[:LOOKED_AT])
    return some


def _either(found: Iterable["QuerySet[Any]"]) -> "QuerySet[Any]":
    first, *others = (rows.order_by().values_list("pk", flat=True) for rows in found)
    return first.union(*others, all=True) if others else first


def _customers(word: str) -> list[Q]:
    return [_holds("name", word)]


def _sites(word: str) -> list[Q]:
    return [
        _holds("name", word) | _holds("address", word),
        Q(customer__in=Customer.objects.filter(_holds("name", word)).values("pk")),
    ]


def _plants(word: str) -> list[Q]:
    return [_holds("name", word), Q(site__in=Site.objects.filter(_holds("name", word)).values("pk"))]


def _appliances(word: str) -> list[Q]:
    return [
        _holds("tag", word) | _holds("serial", word),
        Q(pk__in=Burner.objects.filter(_holds("name", word)).values("appliance")),
        Q(model__in=ApplianceModel.objects.filter(_holds("name", word)).values("pk")),
        Q(plant__in=_either(Plant.objects.filter(way) for way in _plants(word))),
    ]


def _holds(column: str, word: str) -> Q:
    if len(word) >= ANYWHERE_FROM:
        return Q(**{f"{column}__icontains": word})
    within = (Q(**{f"{column}__icontains": f"{mark}{word}"}) for mark in "- ")
    return reduce(or_, within, Q(**{f"{column}__istartswith": word}))
