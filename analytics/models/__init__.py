"""What the drift work leaves behind: runs, and what each found."""

from analytics.models.alerts import Alert
from analytics.models.costs import PARTS, NoCost, PriceDuty, TuningCost, UseSource
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
from analytics.models.summaries import BurnerTrend, ModelAgeing, TechnicianRepeat
from analytics.models.turns import TurnDuty

__all__ = [
    "ENGINE_VERSION",
    "PARTS",
    "Alert",
    "ApplianceDrift",
    "BurnerTrend",
    "DriftDuty",
    "DriftPointer",
    "DriftRun",
    "FleetMonth",
    "GasShift",
    "ModelAgeing",
    "NoCost",
    "PeriodBias",
    "PriceDuty",
    "Reason",
    "TechnicianRepeat",
    "TrimDrift",
    "TuningCost",
    "TurnDuty",
    "Unit",
    "UseSource",
]
