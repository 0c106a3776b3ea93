"""The state of flue gas for whoever asks: readings in, every quantity with its uncertainty out."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from combustion.altitude import pressure_hpa_at
from combustion.analyser import COVERAGE, EN_50379, derived_co2_u_pct
from combustion.balance import CO_LIMIT_PPM
from combustion.errors import OutOfRange
from combustion.flue_gas import FlueGasState, flue_gas_state
from combustion.fuel_line import fault_probability
from combustion.fuels import Fuel, fuel
from combustion.published import epa_fd
from combustion.readings import MEASURED, AnalyserSetting, Readings
from combustion.reasons import Reason
from fleet.computing.answers import STATE, Answer, missing, quantity, quantity_of
from fleet.computing.inputs import FlueGasIn, refused
from fleet.computing.what_if import what_if_answer
from fleet.models import SafetyLimit
from fleet.selectors import LimitKey

ELEVATION_U_HPA = 10.0
"""The weather around the standard atmosphere: common practice, no source."""

CAUTION = (
    "Numbers about readings: they never say that an appliance is safe. Work on gas appliances is for "
    "licensed people; the maker's instructions and local codes come first."
)
WHAT_TO_DO = {
    "make_safe": "Make safe: stop the appliance, leave it off, ventilate, follow local procedure.",
    "investigate": "Find the cause before anything is adjusted; watch the CO while you do.",
    "rich": "Rich firing makes carbon monoxide: stop the burner and follow the maker's instructions.",
}
_LEVELS = ("make_safe", "investigate")


@dataclass(frozen=True)
class Computed:
    """A state of one row with what it was computed from. accuracy: limit of error and whether declared."""

    asked: FlueGasIn
    gas: Fuel
    readings: Readings
    setting: AnalyserSetting
    state: FlueGasState
    accuracy: Mapping[str, tuple[float, bool]]

    @property
    def rich(self) -> bool:
        """More fuel than air, or CO past any range with no oxygen left."""
        return bool(Reason(int(self.state.flags[0])) & Reason.RICH) or _beyond_range(self.asked)


def flue_gas_compute(asked: FlueGasIn) -> Computed:
    """The state asked about. Raises Problem `invalid` naming the field, its value and its limit.

    No oxygen with CO past 10 % is answered as rich, with the little that can be said.
    """
    gas = asked.gas()
    setting = AnalyserSetting.of(gas)
    if asked.analyser_fuel is not None:
        with refused(names={"fuel": "analyser_fuel"}):
            setting = AnalyserSetting.of(fuel(asked.analyser_fuel))
    given = {name: getattr(asked, name) for name in MEASURED}
    with refused():
        if asked.pressure_hpa is None and asked.elevation_m is not None:
            given["pressure_hpa"] = float(pressure_hpa_at(asked.elevation_m))
        _refuse_plain_air(asked)
        accuracy = _accuracy(asked, given, setting)
        readings = Readings(
            **given,
            **{f"u_{name}": limit / COVERAGE for name, (limit, _) in accuracy.items()},
            co2_measured=asked.co2_source == "measured",
        )
        # A reading of 1e-300 % overflows on its way: what it gives is answered as too large.
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            state = flue_gas_state(readings, gas, setting=setting, strict=not _beyond_range(asked))
    return Computed(asked, gas, readings, setting, state, accuracy)


def flue_gas_answer(computed: Computed, limits: Mapping[LimitKey, SafetyLimit]) -> Answer:
    """The answer of POST flue-gas/: safety first, then every quantity, none left out.

    limits: the safety limits in force by (quantity, level).
    """
    state, asked = computed.state, computed.asked
    quantities = {name: quantity_of(state, name) for name in STATE}
    return {
        "safety": list(_safety(computed, quantities, limits)),
        "caution": CAUTION,
        "fuel": {"slug": computed.gas.slug, "name": computed.gas.name},
        "rich": computed.rich,
        "assumed": _assumed(computed),
        "accuracy": {
            name: {"limit": limit, "declared": declared}
            for name, (limit, declared) in computed.accuracy.items()
        },
        "notes": list(state.codes()),
        **quantities,
        "fuel_fault_probability": _fault(quantities["fuel_line_residual_pct"]),
        "method19": _method19(computed, quantities),
        "what_if": None if asked.what_if is None else what_if_answer(asked.what_if, computed),
    }


def _beyond_range(asked: FlueGasIn) -> bool:
    return asked.o2_pct == 0.0 and (asked.co_ppm or 0.0) > CO_LIMIT_PPM


def _refuse_plain_air(asked: FlueGasIn) -> None:
    counts = asked.o2_pct is None or asked.co2_source == "measured"
    if asked.co2_pct == 0.0 and counts:
        raise OutOfRange("co2_pct", 0.0, "0 < co2_pct: without CO2 it is plain air", code="no_co2")


def _accuracy(
    asked: FlueGasIn, given: Mapping[str, float | None], setting: AnalyserSetting
) -> dict[str, tuple[float, bool]]:
    """Per channel its limit of error: as declared, else the class's at the reading.

    A derived CO2 has that of the O2 behind it. A pressure from the height has what the weather makes of it.
    """
    taken: dict[str, tuple[float, bool]] = {}
    for name in MEASURED:
        declared, value = getattr(asked.accuracy, name), given[name]
        if declared is not None:
            taken[name] = declared, True
        elif name == "pressure_hpa" and asked.pressure_hpa is None and asked.elevation_m is not None:
            taken[name] = COVERAGE * ELEVATION_U_HPA, False
        elif name == "co2_pct" and value is not None and asked.co2_source == "derived":
            behind = asked.accuracy.o2_pct
            if behind is None:
                behind = float(EN_50379.error_limit("o2_pct", 0.0))
            taken[name] = float(derived_co2_u_pct(behind, setting)), False
        elif value is not None:
            taken[name] = float(EN_50379.error_limit(name, value)), False
    return taken


def _assumed(computed: Computed) -> list[str]:
    from_height = computed.asked.pressure_hpa is None and computed.asked.elevation_m is not None
    return [*computed.readings.assumed, *(["pressure_hpa"] if from_height else [])]


def _fault(residual: Answer) -> Answer:
    """Probability that the fuel is another or a channel wrong; it has no uncertainty of its own."""
    if residual["value"] is None:
        return missing(residual["why"])
    if residual["u"] == 0.0:
        return missing("accuracy_zero")
    return quantity(float(fault_probability(residual["value"], residual["u"])), 0.0)


def _method19(computed: Computed, quantities: Mapping[str, Answer]) -> dict[str, Any]:
    nox, co = (quantity_of(computed.state, f"{name}_lb_per_mmbtu_method19") for name in ("nox", "co"))
    return {
        "nox_lb_per_mmbtu": nox,
        "co_lb_per_mmbtu": co,
        "fd_dscf_per_mmbtu": epa_fd(computed.gas),
        "above_mole_balance_pct": _above(nox, quantities["nox_lb_per_mmbtu"])
        or _above(co, quantities["co_lb_per_mmbtu"])
        or missing("nothing_to_compare"),
    }


def _above(method19: Answer, balance: Answer) -> Answer | None:
    """How far above the mole balance; both rest on the same readings, so the ratio has next to no doubt."""
    if not method19["value"] or not balance["value"]:
        return None
    return quantity(100.0 * (method19["value"] / balance["value"] - 1.0), 0.0)


def _safety(
    computed: Computed, quantities: Mapping[str, Answer], limits: Mapping[LimitKey, SafetyLimit]
) -> Iterator[dict[str, Any]]:
    """What the reading reaches, the gravest level of each quantity, make safe before all else."""
    values = {name: quantities[name]["value"] for name in ("co_air_free_ppm", "co_co2_ratio")}
    values["co_ppm"] = computed.asked.co_ppm
    seen: set[str] = set()
    for level in _LEVELS:
        if level == "make_safe" and _beyond_range(computed.asked):
            yield _reached("co_ppm", level, computed.asked.co_ppm, CO_LIMIT_PPM, "over any range")
            seen.add("co_ppm")
        for name, value in values.items():
            limit = limits.get((name, level))
            if limit is not None and value is not None and value >= limit.value and name not in seen:
                seen.add(name)
                yield _reached(name, level, value, limit.value, limit.source)
    if computed.rich:
        ratio = quantities["air_ratio"]["value"]
        yield _reached("air_ratio", "rich", ratio, 1.0, "less air than the gas needs, by mole balance")


def _reached(name: str, level: str, value: float | None, limit: float, source: str) -> dict[str, Any]:
    return {
        "quantity": name,
        "level": level,
        "value": value,
        "limit": limit,
        "source": source,
        "what_to_do": WHAT_TO_DO[level],
    }
