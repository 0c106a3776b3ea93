"""What another return temperature or another excess air would do, and what a year of it is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from combustion.savings import Change, Interval, efficiency_change, yearly
from common.parsing import invalid
from common.problems import field_error
from fleet.computing.answers import Answer, missing, quantity
from fleet.computing.inputs import WhatIf, refused

if TYPE_CHECKING:
    from fleet.computing.flue_gas import Computed

_YEAR = ("energy_kwh", "money", "co2_kg")


def what_if_answer(asked: WhatIf, computed: Computed) -> dict[str, Answer]:
    """Efficiency then, points gained, fuel saved; and, with input and hours, energy, CO2 and money a year.

    Raises Problem `invalid` under `what_if`.
    """
    if asked.return_temp_change_k is None and asked.excess_air_pct is None:
        detail = "Say what would change: the return temperature, the excess air, or both."
        limit = "return_temp_change_k or excess_air_pct"
        raise invalid([field_error("/what_if/return_temp_change_k", "required", detail, limit=limit)])
    why = computed.state.why("efficiency_gross_pct")
    if why is not None:
        blocked = {**missing(why), "low": None, "high": None}
        names = ("efficiency_gross_pct", "efficiency_net_pct", "gain_gross_pct", "fuel_saved_pct", *_YEAR)
        return dict.fromkeys(names, blocked)
    with (
        refused("what_if", names={"flue_temp_c": "return_temp_change_k"}),
        np.errstate(over="ignore", invalid="ignore", divide="ignore"),
    ):
        change = efficiency_change(
            computed.readings,
            computed.gas,
            return_temp_change_k=asked.return_temp_change_k or 0.0,
            u_return_temp_change_k=asked.u_return_temp_change_k,
            excess_air_pct=asked.excess_air_pct,
            setting=computed.setting,
        )
        return {
            "efficiency_gross_pct": _interval(change.efficiency_gross_pct),
            "efficiency_net_pct": _interval(change.efficiency_net_pct),
            "gain_gross_pct": _interval(change.gain_gross_pct),
            "fuel_saved_pct": _interval(change.fuel_saved_pct),
            **_year(asked, change, computed),
        }


def _year(asked: WhatIf, change: Change, computed: Computed) -> dict[str, Answer]:
    if asked.input_gross_kw is None or asked.full_load_hours is None:
        blocked = {**missing("no_input_or_hours"), "low": None, "high": None}
        return dict.fromkeys(_YEAR, blocked)
    worth = yearly(
        change,
        computed.gas,
        input_gross_kw=asked.input_gross_kw,
        full_load_hours=asked.full_load_hours,
        price_per_kwh_gross=asked.price_per_kwh_gross or 0.0,
        u_full_load_hours=asked.u_full_load_hours,
    )
    money = _interval(worth.money)
    if asked.price_per_kwh_gross is None:
        money = {**missing("no_price"), "low": None, "high": None}
    return {"energy_kwh": _interval(worth.energy_kwh), "money": money, "co2_kg": _interval(worth.co2_kg)}


def _interval(interval: Interval) -> Answer:
    answer = quantity(float(interval.value), float(interval.u))
    given = answer["value"] is not None
    ends = {
        "low": float(interval.low) if given else None,
        "high": float(interval.high) if given else None,
    }
    return answer | ends
