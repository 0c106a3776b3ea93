"""An estimate month by month with its interval as a shaded band."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from analytics.figures.frame import AXIS, TOP_LEGEND, level, level_label, sheet, value_axis
from analytics.figures.tokens import FOUND, LEFT, SHEET, WASH, Figure


@dataclass(frozen=True)
class MonthValue:
    """One month's value and both ends of its interval; `weak` ones are drawn open."""

    month: date
    value: float
    low: float
    high: float
    weak: bool = False


def by_month(rows: Sequence[MonthValue], *, words: dict[str, str]) -> Figure | None:
    """A line with its 95 % interval. words: `axis` (with unit), `value`, `weak`, `interval`, `usual`."""
    if not rows:
        return None
    x = [row.month.isoformat() for row in rows]
    edge = {"type": "scatter", "mode": "lines", "x": x, "line": {"width": 0}, "hoverinfo": "skip"}
    upper = {
        **edge,
        "y": [round(row.high, 4) for row in rows],
        "fill": "tonexty",
        "fillcolor": WASH,
        "name": words["interval"],
    }
    line = {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": [round(row.value, 4) for row in rows],
        "line": {"color": LEFT, "width": 1.5},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    return {
        "data": [
            {**edge, "y": [round(row.low, 4) for row in rows], "showlegend": False},
            upper,
            line,
            _points([row for row in rows if not row.weak], words["value"], weak=False),
            _points([row for row in rows if row.weak], words["weak"], weak=True),
        ],
        "layout": sheet(
            height=380,
            margin={"l": 62, "r": 20, "t": 44, "b": 40},
            narrow={"l": 48, "r": 8, "t": 84, "b": 40},
            hovermode="closest",
            legend=TOP_LEGEND,
            shapes=[level(0, dash="dash")],
            annotations=[level_label(0, words["usual"])],
            xaxis={**AXIS, "type": "date", "tickformat": "%b %Y"},
            yaxis=value_axis(words["axis"]),
        ),
    }


def _points(rows: Sequence[MonthValue], name: str, *, weak: bool) -> Figure:
    colour = FOUND if weak else LEFT
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [row.month.isoformat() for row in rows],
        "y": [round(row.value, 4) for row in rows],
        "visible": bool(rows),
        "marker": {
            "symbol": "diamond" if weak else "circle",
            "size": 8,
            "color": SHEET if weak else LEFT,
            "line": {"color": colour, "width": 1.5},
        },
        "hovertemplate": "%{x|%b %Y}: %{y:.2f}<extra></extra>",
    }
