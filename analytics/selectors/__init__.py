"""Reads of the drift work for the pages, each in a fixed number of queries."""

from analytics.selectors.alerts import WHAT_TO_DO, alert_sentence, alerts
from analytics.selectors.analysers import AreaStory, PeriodStory, analyser_periods, gas_areas
from analytics.selectors.condition import fleet_condition
from analytics.selectors.costs import (
    CostStory,
    appliance_cost,
    cost_sentence,
    cost_story,
    costs_ranked,
    fleet_cost,
    total_sentence,
)
from analytics.selectors.sentences import trim_sentence
from analytics.selectors.story import ApplianceStory, TrimStory, appliance_story
from analytics.selectors.technicians import technicians_repeat
from analytics.selectors.wanderers import (
    Wanderer,
    earlier_visits_proposed,
    wanderers_ranked,
    with_evidence,
)

__all__ = [
    "WHAT_TO_DO",
    "ApplianceStory",
    "AreaStory",
    "CostStory",
    "PeriodStory",
    "TrimStory",
    "Wanderer",
    "alert_sentence",
    "alerts",
    "analyser_periods",
    "appliance_cost",
    "appliance_story",
    "cost_sentence",
    "cost_story",
    "costs_ranked",
    "earlier_visits_proposed",
    "fleet_condition",
    "fleet_cost",
    "gas_areas",
    "technicians_repeat",
    "total_sentence",
    "trim_sentence",
    "wanderers_ranked",
    "with_evidence",
]
