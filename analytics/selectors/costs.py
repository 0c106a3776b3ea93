"""What being out of tune costs, in words and figures; never a figure without its interval."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from analytics.costing.totals import Reach, Total, burners_together, total_of
from analytics.models import DriftRun, NoCost, TuningCost
from analytics.querysets import CostQuerySet
from fleet.units import MEASURES, about, units_of
from people.models import Units, User


@dataclass(frozen=True)
class Figure:
    """One quantity of a cost a year: its name in `fleet.units`, or a currency, with its reach."""

    measure: str
    currency: str
    reach: Reach


@dataclass(frozen=True)
class CostStory:
    """What an appliance's burners cost together, and each burner's own row."""

    rows: Sequence[TuningCost]
    figures: Sequence[Figure]
    sentence: str
    indicative: bool
    no_price: bool


def appliance_cost(*, user: User, appliance_id: int) -> CostStory | None:
    """For the firm's people; None where nothing was reckoned. One query."""
    rows = TuningCost.objects.visible_to(user).current().filter(appliance=appliance_id)
    found = list(rows.select_related("burner", "appliance").order_by("burner__position"))
    return cost_story(found, units=units_of(user)) if found else None


def cost_story(rows: Sequence[TuningCost], *, units: str = Units.SI) -> CostStory:
    """The burners of one appliance; the sentence in the reader's units."""
    energy = burners_together(rows)
    money = burners_together(rows, "price_per_kwh")
    currency = rows[0].currency
    figures = [
        Figure("annual_gas_kwh", "", energy) if energy else None,
        Figure("annual_gas_m3", "", volume) if (volume := burners_together(rows, "m3_per_kwh")) else None,
        Figure("", currency, money) if money else None,
        Figure("annual_co2_kg", "", co2) if (co2 := burners_together(rows, "co2_kg_per_kwh")) else None,
    ]
    return CostStory(
        rows=rows,
        figures=[figure for figure in figures if figure],
        sentence=_sentence(rows, energy, money, units),
        indicative=any(row.indicative and not row.reason for row in rows),
        no_price=energy is not None and money is None,
    )


def costs_ranked(*, user: User) -> CostQuerySet:
    """Burners of the current run, each with its place: to narrow, order and cut into pages."""
    return TuningCost.objects.visible_to(user).current().with_place()


def fleet_cost(run: DriftRun | None, rows: QuerySet[TuningCost] | None = None) -> Total | None:
    """The whole fleet as its run summed it; or the narrowed rows, summed now. None before any run."""
    if run is None:
        return None
    return Total.of_json(run.tuning_cost) if rows is None else total_of(rows)


def cost_sentence(row: TuningCost) -> str:
    """What one burner's row says."""
    return cost_story([row]).sentence


def total_sentence(total: Total, *, units: str = Units.SI) -> str:
    """What a fleet's total says, with how many burners it rests on."""
    energy = total.energy_kwh
    words = {
        **gas_words(energy, units),
        "burners": f"{total.burners:,}",
        "costing": f"{total.costing:,}",
        "saving": f"{total.saving:,}",
    }
    text = {
        1: _(
            "As last found, %(burners)s burners together lose %(energy)s of gas a year against their "
            "targets (%(reach)s)."
        ),
        -1: _(
            "As last found, %(burners)s burners together run on less air than their targets, which saves "
            "%(energy)s of gas a year (%(reach)s) and is a risk, not a gain."
        ),
        0: _(
            "As last found, what %(burners)s burners together lose against their targets could as well be "
            "nothing (%(energy)s of gas a year; %(reach)s)."
        ),
    }[energy.surely]
    counts = _("%(costing)s of them surely lose, %(saving)s surely run on less air than their target.")
    return f"{text % words} {counts % words}"


def _sentence(rows: Sequence[TuningCost], energy: Reach | None, money: Reach | None, units: str) -> str:
    day = date_format(max(row.read_on for row in rows), "j M Y")
    if energy is None:
        why = NoCost(next(row.reason for row in rows if row.reason)).label
        return _("As found on %(day)s no cost can be reckoned: %(why)s.") % {"day": day, "why": why}
    words = {"day": day, **gas_words(energy, units), "money": ""}
    if money is not None:
        words["money"] = _(", %(currency)s %(money)s (%(reach)s)") % {
            "currency": rows[0].currency,
            "money": about(money.value),
            "reach": _between(money.low, money.high, rows[0].currency),
        }
    text = {
        1: _("As found on %(day)s, it lost about %(energy)s of gas a year (%(reach)s)%(money)s."),
        -1: _(
            "As found on %(day)s, it ran on less air than its target. That saves about %(energy)s of gas "
            "a year (%(reach)s) and is a risk, not a gain: CO rises steeply as the air falls. It belongs at "
            "its target."
        ),
        0: _(
            "As found on %(day)s, what it lost could as well be nothing (%(energy)s of gas a year; "
            "%(reach)s)%(money)s."
        ),
    }[energy.surely]
    return text % words


def gas_words(energy: Reach, units: str) -> dict[str, str]:
    """Gas with its unit, and its interval; what is surely saved without its sign."""
    measure = MEASURES["annual_gas_kwh"]
    shown, unit = -energy if energy.surely < 0 else energy, measure.unit(units)
    value, low, high = (measure.value(kwh, units) for kwh in (shown.value, shown.low, shown.high))
    return {"energy": f"{about(value)} {unit}", "reach": _between(low, high, unit)}


def _between(low: float, high: float, unit: str) -> str:
    return _("95 %%: %(low)s to %(high)s %(unit)s") % {
        "low": about(low),
        "high": about(high),
        "unit": unit,
    }
