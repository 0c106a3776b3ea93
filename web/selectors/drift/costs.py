"""The fleet's burners by what being out of tune costs, and what that is reckoned with."""

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.costing.pricing import prices_owed
from analytics.costing.totals import Total
from analytics.models import DriftRun, TuningCost
from analytics.querysets import CostQuerySet
from analytics.selectors import CostStory, cost_story, costs_ranked, fleet_cost, total_sentence
from analytics.services import current_run
from fleet.models import GasPrice, LoadAssumption
from fleet.units import units_of
from people.models import User
from web.forms.drift import CostFilters
from web.paging import Page, page_by_id, page_by_value
from web.selectors.due import SITE

PRICES_SHOWN = 200


@dataclass(frozen=True)
class CostsPage:
    """What the template draws. lines: each burner's row with what is said of it.

    prices_owed: one was changed that the money does not follow yet.
    """

    run: DriftRun | None
    total: Total | None
    sentence: str
    lines: Sequence[tuple[TuningCost, CostStory]]
    after: str
    prices: Sequence[GasPrice]
    prices_owed: bool
    assumptions: Sequence[LoadAssumption]


def costs_page(*, user: User, filters: CostFilters, after: str, size: int) -> CostsPage:
    """The list from a place in the ranking on, with the sum over all that the filters leave."""
    run = current_run()
    page = costs_from(user=user, filters=filters, after=after, size=size)
    total = fleet_cost(run, narrowed(user, filters) if filters.place.as_query() else None)
    return CostsPage(
        run=run,
        total=total,
        sentence=total_sentence(total, units=units_of(user)) if total and total.burners else "",
        lines=[(row, cost_story([row], units=units_of(user))) for row in page.rows],
        after=page.after,
        prices=list(GasPrice.objects.select_related("customer", "contract")[:PRICES_SHOWN]),
        prices_owed=prices_owed() > 0,
        assumptions=list(LoadAssumption.objects.all()),
    )


def costs_from(*, user: User, filters: CostFilters, after: str, size: int) -> Page:
    """One page of burners: the dearest first, or those on the least air, or those without a figure."""
    rows = narrowed(user, filters)
    if filters.show == "unknown":
        return page_by_id(rows.filter(lost_kwh__isnull=True), after, newest_first=False, size=size)
    rows = rows.with_figure()
    return page_by_value(rows, "lost_kwh", after, size=size, ascending=filters.show == "least")


def narrowed(user: User, filters: CostFilters) -> CostQuerySet:
    """The burners of the place asked for."""
    return filters.place.narrow(costs_ranked(user=user), SITE)
