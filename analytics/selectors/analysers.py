"""Analysers and gas: the two that are blamed on the boiler."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from analytics.models import GasShift, PeriodBias
from fleet.models import GasArea
from people.models import User


@dataclass(frozen=True)
class PeriodStory:
    """One analyser period: its bias, and when and in how many visits it was used."""

    bias: PeriodBias

    @property
    def interval_co2_pct(self) -> tuple[float, float]:
        """95 % interval of the bias, CO2 % at 9 %."""
        reach = 1.96 * self.bias.bias_u_co2_pct
        return self.bias.bias_co2_pct - reach, self.bias.bias_co2_pct + reach

    @property
    def stands_out(self) -> bool:
        """The bias is surely not nothing."""
        low, high = self.interval_co2_pct
        return not self.bias.weak and (low > 0 or high < 0)


def analyser_periods(*, user: User, analyser: int | None = None) -> list[PeriodStory]:
    """Periods of the current run, the largest bias first. One query."""
    rows = PeriodBias.objects.visible_to(user).current().select_related("period__analyser")
    if analyser is not None:
        rows = rows.filter(period__analyser=analyser)
    stories = [PeriodStory(row) for row in rows]
    return sorted(stories, key=lambda story: -abs(story.bias.bias_co2_pct))


@dataclass(frozen=True)
class AreaStory:
    """One gas area's months, oldest first."""

    area: GasArea
    months: Sequence[GasShift]

    @property
    def largest(self) -> GasShift:
        """The month that was furthest from usual."""
        return max(self.months, key=lambda row: abs(row.shift_pct))


def gas_areas(*, user: User, since: date | None = None) -> list[AreaStory]:
    """Gas areas with their shifts by month. One query."""
    rows = GasShift.objects.visible_to(user).current().select_related("gas_area")
    if since is not None:
        rows = rows.filter(month__gte=since)
    months: dict[GasArea, list[GasShift]] = {}
    for row in rows.order_by("gas_area__name", "month"):
        months.setdefault(row.gas_area, []).append(row)
    return [AreaStory(area, shifts) for area, shifts in months.items()]
