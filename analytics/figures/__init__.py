"""Every Plotly figure of the product, as plain dictionaries with colours named by the stylesheet's tokens."""

from analytics.figures.fuel_line import FuelLinePoint, fuel_line
from analytics.figures.share import MonthShare, month_share, share_by_month
from analytics.figures.story import Band, Counted, Figure, StoryRow, story, story_counts

__all__ = [
    "Band",
    "Counted",
    "Figure",
    "FuelLinePoint",
    "MonthShare",
    "StoryRow",
    "fuel_line",
    "month_share",
    "share_by_month",
    "story",
    "story_counts",
]
