"""One search across customers, sites, plants, appliances and burners."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from fleet.models import Appliance, Customer, Plant, Site
from people.models import User

EACH = 20
LEAST_LETTERS = 2


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
    """Names, addresses, tags and serials that hold the text, letters' case aside; four queries."""
    words = text.split()
    if len(text.strip()) < LEAST_LETTERS:
        return Found()
    appliances = Appliance.objects.visible_to(user).with_place().order_by("tag", "pk")
    return Found(
        customers=Customer.objects.visible_to(user).filter(_all(words, "name"))[:EACH],
        sites=Site.objects.visible_to(user)
        .select_related("customer")
        .filter(_all(words, "name", "address", "customer__name"))[:EACH],
        plants=Plant.objects.visible_to(user)
        .select_related("site__customer")
        .filter(_all(words, "name", "site__name"))[:EACH],
        appliances=appliances.filter(
            _all(words, "tag", "serial", "model__name", "plant__name", "plant__site__name", "burners__name")
        ).distinct()[:EACH],
    )


def _all(words: list[str], *columns: str) -> Q:
    """Every word stands in one of the columns."""
    wanted = Q()
    for word in words[:6]:
        anywhere = Q()
        for column in columns:
            anywhere |= Q(**{f"{column}__icontains": word})
        wanted &= anywhere
    return wanted
