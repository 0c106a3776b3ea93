"""An estimate month by month with its interval as a shaded band."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from analytics.figures.tokens import FOUND, GRID, INK, LEFT, SHEET, SOFT, WASH, Figure


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
        "layout": {
            "height": 380,
            "margin": {"l": 62, "r": 20, "t": 44, "b": 40},
            "paper_bgcolor": SHEET,
            "plot_bgcolor": SHEET,
            "font": {"color": INK, "size": 13},
            "dragmode": False,
            "hovermode": "closest",
            "legend": {"orientation": "h", "x": 0, "y": 1, "yanchor": "top", "yref": "container"},
            "shapes": [_usual()],
            "annotations": [_usual_label(words["usual"])],
            "xaxis": {
                "type": "date",
                "gridcolor": GRID,
                "linecolor": SOFT,
                "fixedrange": True,
                "tickformat": "%b %Y",
            },
            "yaxis": {
                "title": {"text": words["axis"], "standoff": 8, "font": {"size": 13}},
                "gridcolor": GRID,
                "linecolor": SOFT,
                "zeroline": False,
                "fixedrange": True,
            },
            "meta": {"narrow": {"margin": {"l": 48, "r": 8, "t": 84, "b": 40}}},
        },
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


def _usual() -> Figure:
    line = {"color": INK, "width": 1.5, "dash": "dash"}
    return {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": 0, "y1": 0, "line": line}


def _usual_label(text: str) -> Figure:
    return {
        "text": text,
        "showarrow": False,
        "xref": "paper",
        "x": 0.995,
        "xanchor": "right",
        "yref": "y",
        "y": 0,
        "yanchor": "bottom",
        "font": {"size": 11, "color": INK},
    }
