"""What the firm looks after: facts and constraints. Words as in docs/data-dictionary.md."""

from fleet.models.analysers import Analyser, AnalyserChannel, AnalyserPeriod
from fleet.models.appliances import Appliance, Burner, PartFitted, SafetyState
from fleet.models.catalogue import ApplianceModel, FiringSpec, FuelSlug, Maker, ModelTrim, Point, TrimKind
from fleet.models.consumption import GasPrice, LoadAssumption
from fleet.models.customers import Contract, Customer, GasArea, Plant, Site, SiteContact
from fleet.models.gases import SuppliedGas
from fleet.models.items import ItemSet, Opening, ServiceItem, WorkStep
from fleet.models.limits import SafetyLimit
from fleet.models.putting_back import PutBackSuggestion, Season
from fleet.models.safety import SafetyCategory, SafetyEvent
from fleet.models.turns import TurnSensitivity

__all__ = [
    "Analyser",
    "AnalyserChannel",
    "AnalyserPeriod",
    "Appliance",
    "ApplianceModel",
    "Burner",
    "Contract",
    "Customer",
    "FiringSpec",
    "FuelSlug",
    "GasArea",
    "GasPrice",
    "ItemSet",
    "LoadAssumption",
    "Maker",
    "ModelTrim",
    "Opening",
    "PartFitted",
    "Plant",
    "Point",
    "PutBackSuggestion",
    "SafetyCategory",
    "SafetyEvent",
    "SafetyLimit",
    "SafetyState",
    "Season",
    "ServiceItem",
    "Site",
    "SiteContact",
    "SuppliedGas",
    "TrimKind",
    "TurnSensitivity",
    "WorkStep",
]
