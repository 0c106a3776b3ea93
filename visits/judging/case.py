"""What the engine judges and what it answers: plain objects around rows, saved or not yet."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

from combustion.fuels import FUELS, Fuel
from fleet.models import (
    AnalyserChannel,
    AnalyserPeriod,
    Appliance,
    Burner,
    FiringSpec,
    ModelTrim,
    Point,
    SafetyLimit,
    ServiceItem,
)
from visits.models import (
    Adjustment,
    FiringTest,
    PlantSetting,
    TemporaryChange,
    TestResult,
    Visit,
    VisitItem,
)

_POINTS = dict(Point.choices)

Limits = Mapping[tuple[str, str], SafetyLimit]


@dataclass(frozen=True)
class Case:
    """One visit with everything that bears on it.

    specs: of the appliance's model.   trims: of the model by kind, what a turn does joined.   limits:
    (quantity, level) to the row in force.   licence_gap: why the technician's licences do not cover the work;
    None where they do, or where nobody asks (imported).   gases: the supplier's, by the slug of the fuel each
    stands in for.   items: what the visit is asked, by code.   answers: what it answered.   settings: of the
    plant, before and after.   parts: names of those fitted.   now: by our clock; of a closed visit the time
    counts at which it came in closed.
    """

    visit: Visit
    appliance: Appliance
    burner_ids: Sequence[int]
    tests: Sequence[FiringTest]
    adjustments: Sequence[Adjustment]
    changes: Sequence[TemporaryChange]
    specs: Sequence[FiringSpec]
    trims: Mapping[str, ModelTrim]
    limits: Limits
    channels: Mapping[str, AnalyserChannel]
    period: AnalyserPeriod | None
    licence_gap: str | None
    now: datetime | None = None
    gases: Mapping[str, Fuel] = field(default_factory=dict)
    items: Mapping[str, ServiceItem] = field(default_factory=dict)
    answers: Sequence[VisitItem] = ()
    settings: Sequence[PlantSetting] = ()
    parts: Sequence[str] = ()

    def fuel_of(self, test: FiringTest) -> Fuel:
        """What the test burned: the supplier's gas where one is in force, else the catalogue's fuel."""
        return self.gases.get(test.fuel) or FUELS[test.fuel]

    def spec_for(self, test: FiringTest) -> FiringSpec | None:
        """The spec of the test's fuel and firing point."""
        return self._specs.get((test.fuel, test.point, test.percent))

    @cached_property
    def age_days(self) -> float:
        """Days since the analyser was calibrated; NaN where nobody knows."""
        if self.period is None or self.period.starts_on is None:
            return math.nan
        return max(0.0, float((self.visit.local_on - self.period.starts_on).days))

    @cached_property
    def _specs(self) -> dict[tuple[str, str, float | None], FiringSpec]:
        """By fuel and firing point; of two alike the first."""
        return {(spec.fuel, spec.point, spec.percent): spec for spec in reversed(self.specs)}


def point_name(test: FiringTest) -> str:
    """Where a test was read, in words; without its phase and burner."""
    return f"{test.percent:g} % of rate" if test.percent else _POINTS[test.point]


@dataclass(frozen=True)
class Draft:
    """A finding before it is stored. Its identity is (code, subject) within the visit."""

    code: str
    subject: str = ""
    burner: Burner | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    probability: float | None = None
    rests_on: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class HealthAnswer:
    """Combustion health of one phase: probability, whether it is whole, its weakest limit, all checked."""

    probability: float | None = None
    full: bool = False
    weakest: str = ""
    checked: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judgement:
    """What the engine answers for one case. `results` are in the order of the case's tests."""

    results: Sequence[TestResult]
    findings: Sequence[Draft]
    kept_out: Sequence[str]
    as_found: HealthAnswer
    as_left: HealthAnswer
