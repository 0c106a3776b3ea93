"""The advice in plain words: first what to look at, then which trim, where, which way and about how far."""

from collections.abc import Mapping
from typing import Any

from fleet.units import BY_UNIT
from people.models import Units
from visits.advising.moving import Plan

POINTS = {"throttle": ("high fire", "low fire"), "offset": ("low fire", "high fire")}
FIRST = "Check inlet pressure and gas rate first."
_SUPPLY = {
    "pressure_first": (
        "Working inlet pressure {value} is beyond the limit of {limit}: see to the supply first, then read "
        "again. No trim is advised."
    ),
    "gas_rate_first": (
        "The gas rate at high fire comes to {value} gross, rated {limit}: see to the gas rate first, then "
        "read again. No trim is advised."
    ),
}


def advice_text(row: Mapping[str, Any], units: str) -> str:
    """The sentence of one piece of advice, in the reader's units."""
    if row["code"] in _SUPPLY:
        return supply_text(row["code"], row["value"], row["limit"], row["unit"], units)
    return str(row["text"])


def supply_text(code: str, value: float, limit: float, unit: str, units: str = Units.SI) -> str:
    """What keeps a trim from being moved: the supply's pressure or the gas rate against its limit."""
    shown = BY_UNIT[unit].with_unit
    return _SUPPLY[code].format(value=shown(value, units), limit=shown(limit, units))


def move_text(trim: str, way: str, aim_co2_pct: float, plan: Plan, member: dict[str, Any]) -> str:
    """The whole sentence of a move. `member`: turn, tool, where, unit, step_limit, evidence of the advice."""
    point, other = POINTS[trim]
    where = ", ".join(part for part in (member["where"], member["tool"]) if part)
    turned = f"turn the {trim}{f' ({where})' if where else ''}"
    if member["turn"]:
        turned += f" {member['turn']}"
    said = [
        FIRST,
        f"Then {turned}{_amount(plan, member)} to {way} CO2 at {point} towards {aim_co2_pct:.1f} %.",
    ]
    if not member["turn"]:
        said.append(_which_way(member))
    if plan.expected_co2_pct is not None:
        said.append(
            f"Expect about {plan.expected_co2_pct:.2f} % "
            f"(95 %: {plan.expected_low:.2f} to {plan.expected_high:.2f}) after it."
        )
    if plan.other_co2_pct is not None:
        when = "After it" if plan.amount is not None else "Once it is there"
        said.append(f"{when}, {other} will be at about {plan.other_co2_pct:.2f} %.")
    said.append("Then wait until it has settled, and read again.")
    if plan.stepped:
        said.append("Further steps come after the next reading.")
    return " ".join(said)


def _amount(plan: Plan, member: dict[str, Any]) -> str:
    if plan.amount is None:
        return ", one small step,"
    unit = member["unit"]
    if plan.low == plan.high:
        # the whole interval lies beyond the step: what is advised is the limit, not an estimate
        return f" by {plan.amount:.2f} {unit}, as much as one move may be,"
    return (
        f" by about {plan.amount:.2f} {unit} (95 %: {plan.low:.2f} to {plan.high:.2f}; "
        f"at most {member['step_limit']:g} in one move)"
    )


def _which_way(member: dict[str, Any]) -> str:
    if member["evidence"]["why"] == "against_file":
        return (
            "Recorded moves went against the direction on file: take the way from the maker's instructions, "
            "and tell the office."
        )
    return "The way to turn is not on file: take it from the maker's instructions."
