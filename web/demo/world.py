"""What a whole fleet shares: gas areas with their gas by month, analysers with their bias, technicians."""

from __future__ import annotations

import random
from bisect import bisect_right
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from web.demo import names

YEAR = timedelta(days=365)
ZONE_NAME = "Europe/London"


@dataclass(frozen=True)
class Magnitudes:
    """How much a fleet moves. Standard deviations; assumed, not measured on any real fleet."""

    throttle_spread: float = 0.008
    """Usual movement of ln K per square root of a year."""
    offset_spread_pa: float = 0.35
    """Usual movement of the offset per square root of a year, Pa."""
    spread_between: float = 0.2
    """Log-normal spread of the usual movement between appliances."""
    wander_share: float = 0.03
    """Share of appliances with one wandering trim, planted at random."""
    wander_ratio: tuple[float, float] = (3.0, 5.0)
    noise_co2_pct: float = 0.06
    bias_co2_pct: float = 0.15
    """Of an analyser's calibration period, at 9 % CO2."""
    faulty_share: float = 0.02
    faulty_bias_co2_pct: float = 0.5
    gas: float = 0.01
    """Of ln G by gas area and month."""
    gas_correlation: float = 0.85


@dataclass(slots=True)
class GasAreaPlan:
    """A network area, or one LPG tank (whose gas does not change)."""

    name: str
    supply: str = "network"


@dataclass(slots=True)
class TechnicianPlan:
    """Who goes out, in which area, and until when licensed."""

    username: str
    full_name: str
    home_area: int
    licence_ends_on: date | None = None
    licensed: bool = True


@dataclass(slots=True)
class PeriodPlan:
    """One analyser between two calibrations, with its true bias at 9 % CO2."""

    starts_on: date
    due_on: date
    bias_co2_pct: float


@dataclass(slots=True)
class AnalyserPlan:
    """One Pellar P4. It measures O2 and works CO2 out, or (a few) measures CO2 as well."""

    tag: str
    serial: str
    measures_co2: bool
    periods: list[PeriodPlan] = field(default_factory=list)

    def period_on(self, day: date) -> int:
        """Position of the period in force on a day; the first where none had begun."""
        return max(bisect_right(self.periods, day, key=lambda period: period.starts_on) - 1, 0)


@dataclass(slots=True)
class World:
    """The shared part of one fleet. `gas_ln` is ln G by area and month since `first_on`."""

    first_on: date
    today: date
    magnitudes: Magnitudes
    areas: list[GasAreaPlan]
    gas_ln: np.ndarray
    technicians: list[TechnicianPlan]
    analysers: list[AnalyserPlan]
    licensed: list[int] = field(init=False)
    """Positions of the technicians who may be sent anywhere."""
    at_home: list[list[int]] = field(init=False)
    """The same by home area."""

    def __post_init__(self) -> None:
        self.licensed = [i for i, person in enumerate(self.technicians) if person.licensed]
        self.at_home = [
            [i for i in self.licensed if self.technicians[i].home_area == area]
            for area in range(len(self.areas))
        ]

    def month(self, day: date) -> int:
        """Months since the first."""
        return (day.year - self.first_on.year) * 12 + day.month - self.first_on.month

    def gas_on(self, area: int | None, day: date) -> float:
        """ln G of an area's gas on a day; zero for a tank."""
        return 0.0 if area is None else float(self.gas_ln[area, self.month(day)])


def invent_world(
    *,
    seed: int,
    today: date,
    years: int,
    areas: int,
    technicians: int,
    spare_analysers: int,
    magnitudes: Magnitudes,
    prefix: str = "",
) -> World:
    """A world of this size. `prefix` keeps the names of two fleets in one database apart."""
    draw = random.Random(f"world {seed}")  # noqa: S311  a fleet must be the same for the same seed
    first_on = date(today.year - years - 1, 1, 1)
    return World(
        first_on=first_on,
        today=today,
        magnitudes=magnitudes,
        areas=[GasAreaPlan(_area_name(prefix, position)) for position in range(areas)],
        gas_ln=_gas(seed, areas, (today.year - first_on.year + 1) * 12, magnitudes),
        technicians=[_technician(prefix, position, areas) for position in range(technicians)],
        analysers=[
            _analyser(draw, prefix, position, first_on, today, magnitudes)
            for position in range(technicians + spare_analysers)
        ],
    )


def _gas(seed: int, areas: int, months: int, magnitudes: Magnitudes) -> np.ndarray:
    """Stationary first-order series by area: what the network delivers wanders slowly."""
    draw = np.random.default_rng([seed, 1])
    shocks = draw.normal(0.0, magnitudes.gas, (areas, months))
    keep = magnitudes.gas_correlation
    series = np.empty_like(shocks)
    series[:, 0] = shocks[:, 0]
    for month in range(1, months):
        series[:, month] = keep * series[:, month - 1] + np.sqrt(1.0 - keep**2) * shocks[:, month]
    return series


def _area_name(prefix: str, position: int) -> str:
    quarters = ("North", "East", "South", "West")
    if prefix:
        return f"{prefix} network area {position + 1}"
    return f"Aldermere {quarters[position % 4]}"


def _technician(prefix: str, position: int, areas: int) -> TechnicianPlan:
    if not prefix and position < len(names.TECHNICIANS):
        full_name = names.TECHNICIANS[position]
        username = full_name.lower().replace(" ", ".") + "@tarnholt.example"
    else:
        full_name = f"{prefix} Technician {position + 1}"
        username = f"{prefix.lower()}-technician-{position + 1}@tarnholt.example"
    return TechnicianPlan(username, full_name, position % areas)


def _analyser(
    draw: random.Random, prefix: str, position: int, first_on: date, today: date, magnitudes: Magnitudes
) -> AnalyserPlan:
    tag = f"{prefix}-P4-{position + 1:03}" if prefix else f"P4-{position + 1:02}"
    plan = AnalyserPlan(tag, f"PP{draw.randrange(100_000, 999_999)}-{position}", position % 4 == 3)
    starts_on = first_on - timedelta(days=draw.randrange(0, 365))
    while starts_on <= today:
        faulty = draw.random() < magnitudes.faulty_share
        size = magnitudes.faulty_bias_co2_pct if faulty else magnitudes.bias_co2_pct
        plan.periods.append(PeriodPlan(starts_on, starts_on + YEAR, round(draw.gauss(0.0, size), 4)))
        starts_on += YEAR - timedelta(days=draw.randrange(2, 15))
    return plan
