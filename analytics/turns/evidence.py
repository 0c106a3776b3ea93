"""Whether what was learnt is enough to name an amount, or the way only."""

from __future__ import annotations

from analytics.turns.hierarchy import Learnt

MIN_MOVES = 8
MIN_BURNERS = 3
AGAINST_FROM_MOVES = 4
"""From so many moves on they may contradict the direction on file."""
WIDEST = 0.7
"""Half the 95 % interval of one burner's effect over the effect. All four: this product's own cuts."""


def why_way_only(learnt: Learnt, *, clockwise_lowers_co2: bool | None) -> str:
    """Code of why no amount can be named; empty where one can.

    clockwise_lowers_co2: by the maker, None where not on file.   Codes: against_file, few_moves, few_burners,
    wide.   Source: own cuts, docs/formulas.md, «turn sensitivity».
    """
    if clockwise_lowers_co2 is not None and learnt.moves >= AGAINST_FROM_MOVES:
        against = learnt.low > 0.0 if clockwise_lowers_co2 else learnt.high < 0.0
        if against:
            return "against_file"
    if learnt.moves < MIN_MOVES:
        return "few_moves"
    if learnt.burners < MIN_BURNERS:
        return "few_burners"
    if 1.96 * learnt.u_one_burner > WIDEST * abs(learnt.effect):
        return "wide"
    return ""
