"""The record of what was read, done and judged: facts and constraints."""

from visits.models.findings import Finding, Life, Severity
from visits.models.results import TestResult
from visits.models.tests import Adjustment, FiringTest, Phase, TemporaryChange, VisitItem
from visits.models.visits import Attendance, Kind, Outcome, Visit, VisitRecord

__all__ = [
    "Adjustment",
    "Attendance",
    "Finding",
    "FiringTest",
    "Kind",
    "Life",
    "Outcome",
    "Phase",
    "Severity",
    "TemporaryChange",
    "TestResult",
    "Visit",
    "VisitItem",
    "VisitRecord",
]
