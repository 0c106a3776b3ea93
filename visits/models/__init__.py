"""The record of what was read, done and judged: facts and constraints."""

from visits.models.again import JudgedAgain, JudgedBasis, JudgeDuty
from visits.models.findings import STANDING, Finding, FindingLife, Life, Severity
from visits.models.photographs import Photograph, PhotographPart
from visits.models.records import RecordFile, ServiceRecord
from visits.models.results import TestResult
from visits.models.tests import Adjustment, FiringTest, Phase, PlantSetting, TemporaryChange, VisitItem
from visits.models.visits import Attendance, Kind, Outcome, Visit, VisitRecord

__all__ = [
    "STANDING",
    "Adjustment",
    "Attendance",
    "Finding",
    "FindingLife",
    "FiringTest",
    "JudgeDuty",
    "JudgedAgain",
    "JudgedBasis",
    "Kind",
    "Life",
    "Outcome",
    "Phase",
    "Photograph",
    "PhotographPart",
    "PlantSetting",
    "RecordFile",
    "ServiceRecord",
    "Severity",
    "TemporaryChange",
    "TestResult",
    "Visit",
    "VisitItem",
    "VisitRecord",
]
