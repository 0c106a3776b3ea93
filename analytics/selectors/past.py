"""What being off target has cost between visits, in words and figures, each with its interval."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from analytics.costing.past import PastCost
from analytics.selectors.costs import Figure, gas_words


@dataclass(frozen=True)
class PastStory:
    """One burner's past with its sentence."""

    past: PastCost
    sentence: str

    @property
    def figures(self) -> Sequence[Figure]:
        """Gas, money where a price is stated, and CO2."""
        past = self.past
        money = [Figure("", past.currency, past.money)] if past.money else []
        gas, co2 = Figure("annual_gas_kwh", "", past.energy_kwh), Figure("annual_co2_kg", "", past.co2_kg)
        return [gas, *money, co2]


def past_story(past: PastCost, *, units: str) -> PastStory:
    """In the reader's units."""
    words = {
        **gas_words(past.energy_kwh, units),
        "since": date_format(past.since, "j M Y"),
        "until": date_format(past.until, "j M Y"),
    }
    text = {
        1: _(
            "Between its visits from %(since)s to %(until)s it lost about %(energy)s of gas by being off its "
            "target (%(reach)s)."
        ),
        -1: _(
            "Between its visits from %(since)s to %(until)s it ran on less air than its target. That saved "
            "about %(energy)s of gas (%(reach)s) and was a risk, not a gain: CO rises steeply as the air "
            "falls."
        ),
        0: _(
            "Between its visits from %(since)s to %(until)s what it lost by being off its target could as "
            "well be nothing (%(energy)s of gas; %(reach)s)."
        ),
    }[past.energy_kwh.surely]
    return PastStory(past, text % words)
