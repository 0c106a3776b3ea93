"""What being off target has cost a burner between its visits, from one state as left to the next as found.

Between the two the share lost is taken to go in a straight line. Where it jumped instead, on any day alike,
or wandered at random, the mean is the same, and its standard deviation is that of «course»: docs/formulas.md.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
from scipy.special import stdtrit

from analytics.costing.found import States, day_of, states_read
from analytics.costing.prices import price_book, prices_of
from analytics.costing.reckoning import Shares, shares_of
from analytics.costing.taken_off import TakenOff
from analytics.costing.totals import COVERAGE_Z, Reach
from analytics.models import DriftRun
from analytics.quantities import DAYS_A_YEAR
from analytics.reading.sources import FUELS, adjustments_read, visits_read
from combustion import fuels
from combustion.arrays import F64
from combustion.gum import Quantity
from combustion.tuning import YearlyUse, yearly_loss

_OF_ONE_READING = ("own_high", "own_low")
_OF_ITS_PERIOD = "analyser"


@dataclass(frozen=True)
class PastCost:
    """One burner's. since, until: first and last visit with an interval that is reckoned.

    years: reckoned together.   intervals, left_out: between visits, reckoned and not.   The price per kWh and
    its currency are those of now.
    """

    burner_id: int
    since: date
    until: date
    years: float
    intervals: int
    left_out: int
    energy_kwh: Reach
    use_source: str
    indicative: bool
    co2_kg_per_kwh: float
    price_per_kwh: float | None
    currency: str

    @property
    def co2_kg(self) -> Reach:
        """By the carbon in the fuel."""
        return self.energy_kwh.times(self.co2_kg_per_kwh)

    @property
    def money(self) -> Reach | None:
        """At the price of now; None where nobody has stated one."""
        return None if self.price_per_kwh is None else self.energy_kwh.times(self.price_per_kwh)


@dataclass(frozen=True)
class Interval:
    """From a state as left to the next as found, as rows of the states; years apart."""

    left: int
    found: int
    years: float


def past_costs(appliance_ids: Sequence[int], *, run: DriftRun, on: date) -> dict[int, PastCost]:
    """By burner, of all that is on file, with what `run` takes off and the prices of a day. Fifteen queries.

    A burner without two readings to reckon between is left out.
    """
    states = states_read(appliance_ids)
    found = states.found
    told = shares_of(found, TakenOff.of_run(run, found.period, found.place["area"]))
    usable = (told.reason == "") & np.isfinite(told.share.value)
    fuel = [FUELS[one] for one in found.fuel.tolist()]
    prices = prices_of(price_book(on), found.place["plant"].tolist(), found.place["customer"].tolist(), fuel)
    costs = {}
    for burner_id, attended in _attended(states, appliance_ids).items():
        last = next(row for one in reversed(attended) for row in (one.left, one.found) if row is not None)
        spans = _spans(attended)
        # what was burnt as another fuel before a conversion is no gas of today's price
        own = [s for s in spans if s and all(usable[i] and fuel[i] == fuel[last] for i in (s.left, s.found))]
        if not own:
            continue
        loss = yearly_loss(share_past(told.share, found.period, own), _use_of(told, last))
        price, currency = prices[last] or (None, "")
        costs[burner_id] = PastCost(
            burner_id=burner_id,
            since=day_of(int(found.read_on[own[0].left])),
            until=day_of(int(found.read_on[own[-1].found])),
            years=sum(span.years for span in own),
            intervals=len(own),
            left_out=len(spans) - len(own),
            energy_kwh=Reach(float(loss.kwh[0]), float(loss.low[0]), float(loss.high[0])),
            use_source=str(told.use_source[last]),
            indicative=bool(found.indicative[[row for span in own for row in (span.left, span.found)]].any()),
            co2_kg_per_kwh=fuels.fuel(fuel[last]).co2_kg_per_kwh_gross,
            price_per_kwh=price,
            currency=currency,
        )
    return costs


def share_past(share: Quantity, period: np.ndarray, spans: Sequence[Interval]) -> Quantity:
    """Share lost times years, summed over intervals of one burner (1,), [years of its gas].

    share: of each state (n,), by input, as `lost_share` has it.   period (n,): analyser period, one error in
    all states of it. The noise of a reading is that state's own; all else is one error in every state.
    `course`: what the straight line may be wrong by, of each interval alone. It is guessed from as many
    changes as there are intervals, so it is widened as Student's t is.
    """
    value = np.asarray(share.value)
    weight: F64 = np.zeros(len(value))
    course = 0.0
    years = np.array([span.years for span in spans])
    for span in spans:
        weight[[span.left, span.found]] += 0.5 * span.years
        course += ((value[span.found] - value[span.left]) * span.years) ** 2 / 12.0
    rows = np.flatnonzero(weight)
    parts: dict[str, float] = defaultdict(float)
    for name, part in share.parts.items():
        weighted = weight[rows] * np.asarray(part)[rows]
        if name in _OF_ONE_READING:
            parts[name] = float(np.sqrt(np.sum(weighted**2)))
        elif name == _OF_ITS_PERIOD:
            for key, one in zip(period[rows].tolist(), weighted.tolist(), strict=True):
                parts[f"{name} {key}"] += one
        else:
            parts[name] = float(weighted.sum())
    parts["course"] = float(np.sqrt(course)) * _student(years)
    total = np.array([float(weight[rows] @ value[rows])])
    return Quantity(total, {name: np.array([part]) for name, part in parts.items()})


def _student(years: F64) -> float:
    """How much wider than a normal's a 95 % interval is whose spread is guessed from these intervals.

    Of a walk at random each weighs by its years cubed: degrees of freedom by Welch and Satterthwaite.
    """
    freedom = float(np.sum(years**3) ** 2 / np.sum(years**6))
    return float(stdtrit(freedom, 0.975)) / COVERAGE_Z


def _use_of(told: Shares, row: int) -> YearlyUse:
    own = (told.use.kwh[row], told.use.u_common[row], told.use.u_own[row])
    return YearlyUse(*map(np.atleast_1d, own))


@dataclass
class _Attended:
    """A burner at one visit: the states it was found and left in, and whether a trim was moved."""

    day: float
    found: int | None = None
    left: int | None = None
    moved: bool = False

    @property
    def leaving(self) -> int | None:
        """The state as left; where no trim was moved, as found is as left."""
        return self.left if self.left is not None or self.moved else self.found


def _attended(states: States, appliance_ids: Sequence[int]) -> Mapping[int, Sequence[_Attended]]:
    """By burner its visits with a reading or a move, in order of time. Two queries."""
    visits, moves = visits_read(appliance_ids), adjustments_read(appliance_ids)
    day = dict(zip(visits["id"].tolist(), visits["day"].tolist(), strict=True))
    known: dict[int, dict[int, _Attended]] = defaultdict(dict)
    for row, (burner, visit, left) in enumerate(
        zip(states.found.place["id"].tolist(), states.visit.tolist(), states.left.tolist(), strict=True)
    ):
        setattr(known[burner].setdefault(visit, _Attended(day[visit])), "left" if left else "found", row)
    for burner, visit in zip(moves["burner"].tolist(), moves["visit"].tolist(), strict=True):
        if burner in known and visit in day:
            known[burner].setdefault(visit, _Attended(day[visit])).moved = True
    return {burner: sorted(own.values(), key=lambda one: one.day) for burner, own in known.items()}


def _spans(attended: Sequence[_Attended]) -> list[Interval | None]:
    """What lies between each two visits; None where one of its ends is not known."""
    return [
        None
        if (left := before.leaving) is None or after.found is None
        else Interval(left, after.found, (after.day - before.day) / DAYS_A_YEAR)
        for before, after in pairwise(attended)
    ]
