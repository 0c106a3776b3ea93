"""Dry oxygen from whichever channels were measured, and how well two of them agree.

On a fuel's line, all in vol % dry and X the oxygen of air: O2 = CO/2 + X (1 - CO/200) - X (CO2 + CO)/CO2max.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from combustion import reasons
from combustion.arrays import Bool
from combustion.balance import AIR_O2_PCT
from combustion.fuels import Fuel
from combustion.gum import Quantity, choose
from combustion.readings import Rows
from combustion.reasons import Reason

EPA_AIR_O2_PCT: Final = 20.9

# Two measured channels contradict each other beyond any gas when the CO2max they imply is this far from the
# fuel's (the catalogue's fuels differ by 25 % at most) and chance is ruled out.
_CO2_MAX_APART: Final = 0.25
_SIGMAS_APART: Final = 5.0
_ROUNDING: Final = 1e-9


@dataclass(frozen=True)
class Channels:
    """What the channels say. Limits: NaN where they say nothing. Source: channels.

    o2_pct: dry [vol %].   residual_pct: measured CO2 less the fuel line's at the measured O2 [vol %].   fo:
    EPA's fuel factor [-].   The last two only where both were measured.
    """

    o2_pct: Quantity
    residual_pct: Quantity
    fo: Quantity


@dataclass(frozen=True)
class _Use:
    """Which channel each row goes by; the rest goes by the O2 as it was read."""

    both: Bool
    co2: Bool
    derived_co2: Bool
    derived_o2: Bool
    neither: Bool


def channels(rows: Rows, fuel: Fuel, co_pct: Quantity) -> Channels:
    """Oxygen of each row: O2 or CO2 as measured, a derived one turned back by its setting, or both.

    Both measured: least squares on the fuel line by their uncertainties.   co_pct: dry [vol %].   Limits:
    marks or refuses what no air ratio can give, see Rows.   Source: docs/formulas.md, section «measured or
    derived».
    """
    columns = rows.columns
    o2, nothing = rows.quantity("o2_pct"), Quantity(np.nan)
    use = _use(rows)
    rows.mark(~use.both, Reason.ONE_MEASURED_CHANNEL)
    if not (use.both | use.co2 | use.derived_co2 | use.derived_o2 | use.neither).any():
        return Channels(o2, nothing, nothing)
    untold = use.neither & (rows.flags & np.uint32(reasons.AIR_RATIO) == 0)
    rows.reject("o2_pct", untold, Reason.NO_O2_OR_CO2, "o2_pct or co2_pct to be given")
    if fuel.carbon == 0.0:
        wrong = use.both | use.co2 | use.derived_co2 | use.derived_o2
        rows.reject("co2_pct", wrong, Reason.FUEL_WITHOUT_CARBON, "a fuel with carbon")
        return Channels(choose(wrong, nothing, o2), nothing, nothing)
    _refuse_above_max(rows, fuel, use)

    max_shown, air_shown = columns["co2_max_setting_pct"], columns["o2_air_setting_pct"]
    co2 = rows.quantity("co2_pct")
    co2 = choose(use.derived_o2, (1.0 - o2 * (1.0 / air_shown)) * max_shown, co2)
    slope = AIR_O2_PCT / fuel.co2_max_pct
    on_line = co_pct * (0.5 - AIR_O2_PCT / 200.0) + AIR_O2_PCT - (co2 + co_pct) * slope
    oxygen = choose(use.co2 | use.derived_o2, on_line, o2)
    oxygen = choose(use.derived_co2, (1.0 - co2 * (1.0 / max_shown)) * air_shown, oxygen)
    if not use.both.any():
        return Channels(oxygen, nothing, nothing)
    gap = o2 - on_line
    contradiction = use.both & _contradict(fuel, gap, o2, co2, co_pct)
    limit = f"with the measured O2 a co2_pct whose CO2max is {fuel.co2_max_pct:.2f} within 25 %"
    rows.reject("co2_pct", contradiction, Reason.INCONSISTENT_O2_CO2, limit)
    settled = choose(contradiction, nothing, _adjusted(o2, co2, gap, slope))
    return Channels(
        o2_pct=choose(use.both, settled, oxygen),
        residual_pct=choose(use.both, gap / slope, nothing),
        fo=choose(use.both, (EPA_AIR_O2_PCT - o2) / co2, nothing),
    )


def _use(rows: Rows) -> _Use:
    columns = rows.columns
    has_o2, has_co2 = ~np.isnan(columns["o2_pct"]), ~np.isnan(columns["co2_pct"])
    o2_measured, co2_measured = columns["o2_measured"] != 0.0, columns["co2_measured"] != 0.0
    both = has_o2 & has_co2 & o2_measured & co2_measured
    return _Use(
        both=both,
        co2=has_co2 & co2_measured & ~both,
        derived_co2=has_co2 & ~co2_measured & ~has_o2,
        derived_o2=has_o2 & ~o2_measured & ~has_co2,
        neither=~has_o2 & ~has_co2,
    )


def _refuse_above_max(rows: Rows, fuel: Fuel, use: _Use) -> None:
    columns = rows.columns
    highest = np.where(use.derived_co2, columns["co2_max_setting_pct"], fuel.co2_max_pct)
    above = (use.co2 | use.derived_co2) & (columns["co2_pct"] > highest * (1.0 + _ROUNDING))
    limit = f"0 < co2_pct <= {float(np.max(highest, initial=0.0)):.3f}, the most the fuel can make"
    rows.reject("co2_pct", above, Reason.CO2_ABOVE_MAX, limit)


def _adjusted(o2: Quantity, co2: Quantity, gap: Quantity, slope: float) -> Quantity:
    """Least squares of two channels on the fuel line: O2 moves by its own variance's share of the gap."""
    o2_variance, co2_variance = o2.u**2, (co2.u * slope) ** 2
    total = o2_variance + co2_variance
    share = np.where(total > 0.0, o2_variance / np.where(total > 0.0, total, 1.0), 0.5)
    return o2 - gap * share


def _contradict(fuel: Fuel, gap: Quantity, o2: Quantity, co2: Quantity, co_pct: Quantity) -> Bool:
    half = co_pct.value * 0.5
    undiluted = 1.0 - half / 100.0 - (o2.value - half) / AIR_O2_PCT
    implied_max_pct = (co2.value + co_pct.value) / undiluted
    apart = np.abs(implied_max_pct / fuel.co2_max_pct - 1.0) > _CO2_MAX_APART
    return np.asarray(apart & (np.abs(gap.value) > _SIGMAS_APART * gap.u))
