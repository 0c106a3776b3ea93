"""One appliance looked at closely, on asking: the evidence behind its numbers, visit by visit.

Nothing is stored: the run's bias, gas and fleet-wide figures are held, the appliance's own record is read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from analytics.drift.closeup import CloseUp, close_up, reading_ahead
from analytics.drift.history import LEFT, FloatArray
from analytics.drift.steps import REFERENCE_SIGNAL_PA
from analytics.estimates import EPOCH
from analytics.models import DriftRun, Unit
from analytics.reading import FleetHistory, history_read
from analytics.reading.gases import Gases
from analytics.services import kept_of_run
from combustion.balance import co2_from_phi

COVERAGE = 1.96
"""Of a normal distribution's standard deviation: 95 %."""
FAN_STEP_DAYS = 30
FAN_DAYS = 480
RICHEST_PHI = 0.999
POINTS = ("high", "low")

Reach = tuple[float, float, float]
"""Middle, lower and upper end, CO2 dry vol %."""


@dataclass(frozen=True)
class StepRow:
    """One phase of one visit. States in % of K and in the offset's unit; what was removed in % of K.

    expected: firing point to what the last reading of it leads one to expect now, with its 95 % reach.
    """

    visit_id: int
    left: bool
    current: bool
    throttle: float
    throttle_u: float
    offset: float
    offset_u: float
    throttle_afresh: bool
    offset_afresh: bool
    removed_analyser: float
    removed_gas: float
    expected: dict[str, Reach]

    @property
    def offset_reach(self) -> float:
        """Half the 95 % interval of the offset."""
        return COVERAGE * self.offset_u


@dataclass(frozen=True)
class FanDay:
    """Where a firing point may stand on a day to come, if no one attends."""

    on: date
    ahead: dict[str, Reach]


@dataclass(frozen=True)
class BurnerCloseUp:
    """One burner, oldest step first."""

    burner_id: int
    offset_in_pa: bool
    steps: Sequence[StepRow]
    fan: Sequence[FanDay]

    @property
    def offset_unit(self) -> str:
        """Of the offset's state: a value of `Unit`."""
        return Unit.PASCAL.value if self.offset_in_pa else Unit.MILLI_W.value


def appliance_closeup(appliance_id: int, run: DriftRun | None) -> list[BurnerCloseUp]:
    """The appliance's premix burners; empty where no run can be held to it. A fixed number of queries."""
    kept = kept_of_run(run.pk, run.started_at) if run else None
    if kept is None:
        return []
    read = history_read([appliance_id], numbering=kept.numbering)
    if not read.history.visits:
        return []
    close = close_up(kept.run, read.history)
    return [_burner(read, close, burner) for burner in range(len(read.burner_id))]


def _burner(read: FleetHistory, close: CloseUp, burner: int) -> BurnerCloseUp:
    signal = read.history.control_pressure_pa[burner]
    known = bool(np.isfinite(signal))
    return BurnerCloseUp(
        burner_id=int(read.burner_id[burner]),
        offset_in_pa=known,
        steps=_steps(read, close, burner, 1.0 if known else 1e3 / REFERENCE_SIGNAL_PA),
        fan=_fan(read, close, burner),
    )


def _steps(read: FleetHistory, close: CloseUp, burner: int, per_pa: float) -> list[StepRow]:
    rows = []
    for step in np.flatnonzero(close.burner == burner).tolist():
        row = int(close.row[step])
        gas = int(read.gas[row])
        throttle, offset = close.state[step].tolist()
        throttle_u, offset_u = close.state_u[step].tolist()
        rows.append(
            StepRow(
                visit_id=int(read.visit_id[row]),
                left=bool(close.phase[step] == LEFT),
                current=bool(close.current[step]),
                throttle=throttle,
                throttle_u=throttle_u,
                offset=offset * per_pa,
                offset_u=offset_u * per_pa,
                throttle_afresh=bool(close.reset[step, 0]),
                offset_afresh=bool(close.reset[step, 1]),
                removed_analyser=float(close.removed_bias[step]),
                removed_gas=float(close.removed_gas[step]),
                expected=_reaches(close.expected[step], close.expected_u[step], read.gases, gas),
            )
        )
    return rows


def _fan(read: FleetHistory, close: CloseUp, burner: int) -> list[FanDay]:
    last = close.outlook.last_day[burner]
    if not np.isfinite(last):
        return []
    ahead = np.arange(0, FAN_DAYS + 1, FAN_STEP_DAYS)
    centre, deviation = reading_ahead(close.outlook, ahead.astype(np.float64))
    gas = int(read.gas_now[burner])
    begin = EPOCH + timedelta(days=int(last))
    days = [
        FanDay(begin + timedelta(days=int(day)), _reaches(middle, sd, read.gases, gas))
        for day, middle, sd in zip(ahead, centre[burner], deviation[burner], strict=True)
    ]
    return [day for day in days if day.ahead]


def _reaches(middle: FloatArray, deviation: FloatArray, gases: Gases, gas: int) -> dict[str, Reach]:
    """100 ln phi per point as CO2 of the gas, with what that adds put on again, where it is known."""
    found: dict[str, Reach] = {}
    for place, point in enumerate(POINTS):
        if np.isfinite(middle[place]) and np.isfinite(deviation[place]):
            ends = middle[place] + COVERAGE * deviation[place] * np.array([0.0, -1.0, 1.0])
            phi = np.exp(ends / 100.0 + gases.ln_g[gas])
            co2 = co2_from_phi(np.minimum(phi, RICHEST_PHI), gases.fuels[gas])
            found[point] = (float(co2[0]), float(co2[1]), float(co2[2]))
    return found
