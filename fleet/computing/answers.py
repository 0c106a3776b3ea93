"""How numbers are answered: a value with its standard uncertainty, or the code of why there is none."""

import math
from typing import Any

from pydantic import BaseModel, create_model

from combustion.flue_gas import FlueGasState
from common.constraints import MEASURED_LIMIT
from common.schema import QuantityAnswer

NOT_COMPUTABLE = "not_computable"
TOO_LARGE = "too_large"

# Of flue_gas_state, in the order they are answered.
STATE = (
    "air_ratio",
    "excess_air_pct",
    "o2_pct",
    "co2_pct",
    "co2_max_pct",
    "co_air_free_ppm",
    "co_co2_ratio",
    "dew_point_c",
    "condensed_pct",
    "condensate_kg_per_kwh",
    "sensible_loss_gross_pct",
    "latent_loss_gross_pct",
    "unburnt_loss_gross_pct",
    "efficiency_gross_pct",
    "efficiency_net_pct",
    "siegert_loss_net_pct",
    "co_mg_per_kwh_net",
    "nox_mg_per_kwh_net",
    "nox_ppm_at_3_o2",
    "nox_lb_per_mmbtu",
    "co_lb_per_mmbtu",
    "fuel_line_residual_pct",
    "fo",
)

Answer = dict[str, Any]


def missing(why: str) -> Answer:
    """A quantity that cannot be given, and the code of why."""
    return {"value": None, "u": None, "why": why}


def quantity(value: float, u: float, why: str | None = None, *, below: float = math.inf) -> Answer:
    """A quantity as it is answered; past `below` it says nothing any more, and no answer can hold NaN."""
    if math.isnan(value) or math.isnan(u):
        return missing(why or NOT_COMPUTABLE)
    if abs(value) >= below or abs(u) >= below:
        return missing(TOO_LARGE)
    return {"value": value, "u": u}


def quantity_of(state: FlueGasState, name: str) -> Answer:
    """One quantity of a state of one row. Close to plain air some grow without bound: these are too large."""
    value, u = float(state.value(name)), float(state.uncertainty(name))
    return quantity(value, u, state.why(name), below=MEASURED_LIMIT)


class SafetyReached(BaseModel):
    """A limit that the reading reaches, and what to do first."""

    quantity: str
    level: str
    value: float | None
    limit: float | None
    source: str
    what_to_do: str


class AccuracyTaken(BaseModel):
    """The limit of error taken for a channel, and whether it was declared or is the class's."""

    limit: float
    declared: bool


class FuelNamed(BaseModel):
    """The gas that was computed with."""

    slug: str
    name: str


class Method19Answer(BaseModel):
    """By EPA Method 19: published Fd where the gas is of its kind, else the composition's."""

    nox_lb_per_mmbtu: QuantityAnswer
    co_lb_per_mmbtu: QuantityAnswer
    fd_dscf_per_mmbtu: float
    above_mole_balance_pct: QuantityAnswer


class IntervalAnswer(QuantityAnswer):
    """A quantity with its 95 % interval."""

    low: float | None
    high: float | None


class WhatIfAnswer(BaseModel):
    """What the change would do; positive is gained or saved. A year needs input and hours; money, a price."""

    efficiency_gross_pct: IntervalAnswer
    efficiency_net_pct: IntervalAnswer
    gain_gross_pct: IntervalAnswer
    fuel_saved_pct: IntervalAnswer
    energy_kwh: IntervalAnswer
    money: IntervalAnswer
    co2_kg: IntervalAnswer


class _FlueGas(BaseModel):
    """The state of flue gas. Each quantity: value and standard uncertainty (k = 1), or why there is none."""

    safety: list[SafetyReached]
    caution: str
    fuel: FuelNamed
    rich: bool
    assumed: list[str]
    accuracy: dict[str, AccuracyTaken]
    notes: list[str]
    fuel_fault_probability: QuantityAnswer
    method19: Method19Answer
    what_if: WhatIfAnswer | None


FlueGasAnswer = create_model(
    "FlueGasAnswer",
    __base__=_FlueGas,
    __doc__=_FlueGas.__doc__,
    **{name: (QuantityAnswer, ...) for name in STATE},  # type: ignore[call-overload]
)


class DeratingAnswer(BaseModel):
    """Share of sea-level input that the rule leaves at the height, and the rule's source."""

    share: float
    rule: str
    source: str


class GasRateAnswer(BaseModel):
    """Heat input by a clocked meter, each with its standard uncertainty (k = 1)."""

    caution: str
    fuel: FuelNamed
    rate_m3_h: QuantityAnswer
    base_rate_m3_h: QuantityAnswer
    gross_kw: QuantityAnswer
    net_kw: QuantityAnswer
    nameplate_share: QuantityAnswer
    derating: DeratingAnswer | None
    assumed: list[str]
    accuracy: dict[str, AccuracyTaken]
