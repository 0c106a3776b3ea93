"""What the drift work leaves behind: runs, and what each found."""

from analytics.models.estimates import (
    ApplianceDrift,
    FleetMonth,
    GasShift,
    PeriodBias,
    Reason,
    TrimDrift,
    Unit,
)
from analytics.models.runs import ENGINE_VERSION, DriftDuty, DriftPointer, DriftRun
from analytics.models.turns import TurnDuty

__all__ = [
    "ENGINE_VERSION",
    "ApplianceDrift",
    "DriftDuty",
    "DriftPointer",
    "DriftRun",
    "FleetMonth",
    "GasShift",
    "PeriodBias",
    "Reason",
    "TrimDrift",
    "TurnDuty",
    "Unit",
]
