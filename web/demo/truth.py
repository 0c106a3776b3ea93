"""What the demo plants, written down, so that tests and pages can be held against it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import date


@dataclass(frozen=True)
class TrimTruth:
    """One trim of one burner. Throttle in % of K, offset in Pa; spread per square root of a year."""

    appliance: str
    burner: int
    trim: str
    drift_per_year: float
    spread: float
    wanders: bool


@dataclass(frozen=True)
class PeriodTruth:
    """One analyser between two calibrations: reading minus truth at 9 % CO2."""

    analyser: str
    starts_on: date
    ends_on: date | None
    bias_co2_pct: float


@dataclass(frozen=True)
class GasChange:
    """One network area whose gas changed for good."""

    area: str
    from_on: date
    shift_ln: float
    """Of ln G; times about 9.8 it is the change of CO2 in %."""


@dataclass(frozen=True)
class PlantedVisit:
    """A visit that the demo arranged: its appliance's tag and its UUID."""

    appliance: str
    visit: str


@dataclass(frozen=True)
class DemoTruth:
    """Everything planted. Tags name appliances, addresses name people."""

    seed: int
    today: date
    trims: tuple[TrimTruth, ...]
    ageing_model: str
    analyser_periods: tuple[PeriodTruth, ...]
    analyser_off: PeriodTruth
    gas_change: GasChange
    two_burner: str
    not_premix: tuple[str, ...]
    lag_left_enabled: PlantedVisit
    co_make_safe: PlantedVisit
    no_access: tuple[PlantedVisit, ...]
    part_needed: tuple[PlantedVisit, ...]
    no_heat_load: PlantedVisit
    uncountersigned: PlantedVisit
    overdue: tuple[str, ...]
    licence_ending: str
    licence_ends_on: date
    calibration_ending: str
    calibration_due_on: date
    booked_today: tuple[str, ...]
    booked_tomorrow: tuple[str, ...]
    turn_sensitivity: dict[str, dict[str, float]]
    """Model to trim to the mean change per turn: ln K, or Pa."""

    @property
    def wanderers(self) -> tuple[TrimTruth, ...]:
        """The trims that wander."""
        return tuple(trim for trim in self.trims if trim.wanders)

    @property
    def drifters(self) -> tuple[TrimTruth, ...]:
        """The trims with a steady one-way change."""
        return tuple(trim for trim in self.trims if trim.drift_per_year)

    def as_json(self) -> str:
        """The whole as JSON, dates in ISO form."""
        return json.dumps(asdict(self), default=date.isoformat, indent=1, ensure_ascii=False)
