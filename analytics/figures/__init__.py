"""Every Plotly figure of the product, as plain dictionaries with colours named by the stylesheet's tokens."""

from analytics.figures.fuel_line import FuelLinePoint, fuel_line
from analytics.figures.intervals import Estimate, Mark, intervals
from analytics.figures.layers import Layers, Noted, ReachOn, StateOn, States
from analytics.figures.months import MonthValue, by_month
from analytics.figures.quantity import quantity_chart
from analytics.figures.share import MonthShare, month_share, share_by_month
from analytics.figures.story import Counted, StoryRow, story, story_counts
from analytics.figures.tokens import Band, Figure

__all__ = [
    "Band",
    "Counted",
    "Estimate",
    "Figure",
    "FuelLinePoint",
    "Layers",
    "Mark",
    "MonthShare",
    "MonthValue",
    "Noted",
    "ReachOn",
    "StateOn",
    "States",
    "StoryRow",
    "by_month",
    "fuel_line",
    "intervals",
    "month_share",
    "quantity_chart",
    "share_by_month",
    "story",
    "story_counts",
]
