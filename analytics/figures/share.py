"""The share of visits that found a burner out of band, month by month, with its interval."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from scipy.stats import binomtest

from analytics.figures.frame import AXIS, sheet
from analytics.figures.tokens import FOUND, SHEET, SOFT, Figure

CONFIDENCE = 0.95


@dataclass(frozen=True)
class MonthShare:
    """One month: visits judged as found, those out of band, the share in % and its 95 % interval in %."""

    month: date
    judged: int
    outside: int
    share_pct: float
    low_pct: float
    high_pct: float


def month_share(month: date, *, judged: int, outside: int) -> MonthShare:
    """The share with its Wilson score interval (Wilson 1927), which behaves where few were seen.

    judged: at least 1; outside: 0 to judged.  Raises ValueError outside these limits.
    """
    interval = binomtest(outside, judged).proportion_ci(CONFIDENCE, method="wilson")
    return MonthShare(
        month=month,
        judged=judged,
        outside=outside,
        share_pct=100 * outside / judged,
        low_pct=100 * float(interval.low),
        high_pct=100 * float(interval.high),
    )


def share_by_month(
    months: Sequence[MonthShare], *, words: dict[str, str], before: Sequence[MonthShare] = ()
) -> Figure | None:
    """Points with intervals, one a month in order. words: `share`, `axis`, and `before` for the year before,
    drawn at the same months: what comes with the season comes in both. None where there is no month."""
    if not months:
        return None
    earlier = [_a_year_before(before, words)] if before else []
    return {
        "data": [
            *earlier,
            {
                "type": "scatter",
                "mode": "markers",
                "name": words["share"],
                "x": [row.month.isoformat() for row in months],
                "y": [round(row.share_pct, 2) for row in months],
                "error_y": {
                    "type": "data",
                    "symmetric": False,
                    "array": [round(row.high_pct - row.share_pct, 2) for row in months],
                    "arrayminus": [round(row.share_pct - row.low_pct, 2) for row in months],
                    "color": FOUND,
                    "thickness": 1.5,
                },
                "marker": {
                    "symbol": "diamond",
                    "size": 10,
                    "color": SHEET,
                    "line": {"color": FOUND, "width": 2},
                },
                "customdata": [[row.outside, row.judged] for row in months],
                "hovertemplate": "%{x|%b %Y}: %{y:.0f} %<br>%{customdata[0]}/%{customdata[1]}<extra></extra>",
            },
        ],
        "layout": sheet(
            height=340,
            margin={"l": 62, "r": 20, "t": 44, "b": 40},
            narrow={"l": 48, "r": 8, "t": 64, "b": 40},
            showlegend=bool(earlier),
            legend={"orientation": "h", "x": 0, "y": 1, "yanchor": "bottom"},
            xaxis={**AXIS, "type": "date", "tickformat": "%b %Y"},
            yaxis={
                **AXIS,
                "title": {"text": words["axis"], "standoff": 8},
                "rangemode": "tozero",
                "zeroline": True,
                "zerolinecolor": SOFT,
            },
        ),
    }


def _a_year_before(rows: Sequence[MonthShare], words: dict[str, str]) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": words["before"],
        "x": [row.month.replace(year=row.month.year + 1).isoformat() for row in rows],
        "y": [round(row.share_pct, 2) for row in rows],
        "marker": {"symbol": "line-ew-open", "size": 16, "color": SOFT, "line": {"color": SOFT, "width": 2}},
        "hovertemplate": "%{y:.0f} %<extra></extra>",
    }
