"""A small chart of one quantity over the years: readings, the trend with its interval, limits drawn."""

from collections.abc import Sequence
from datetime import date

from analytics.figures.tokens import FOUND, GRID, INK, LEFT, SHEET, SOFT, WASH, Figure


def quantity_chart(
    readings: Sequence[tuple[date, float, bool]],
    line: Sequence[tuple[date, float, float, float]],
    limits: Sequence[tuple[float, str]],
    *,
    words: dict[str, str],
) -> Figure:
    """words: `axis` (with unit), `reading`, `before` (a part was fitted), `trend`, `interval`.

    readings: day, value, whether it counts.   line: day, value, low, high at both ends; may be empty.
    limits: value and label.
    """
    data = [
        _points(readings, words["reading"], counts=True),
        _points(readings, words["before"], counts=False),
    ]
    if line:
        days = [end[0].isoformat() for end in line]
        data = [
            {
                "type": "scatter",
                "mode": "lines",
                "name": words["interval"],
                "x": days + days[::-1],
                "y": [round(end[3], 4) for end in line] + [round(end[2], 4) for end in reversed(line)],
                "fill": "toself",
                "fillcolor": WASH,
                "line": {"color": WASH, "width": 0},
                "opacity": 0.75,
                "hoverinfo": "skip",
            },
            {
                "type": "scatter",
                "mode": "lines",
                "name": words["trend"],
                "x": days,
                "y": [round(end[1], 4) for end in line],
                "line": {"color": LEFT, "width": 1.5, "dash": "dash"},
                "hoverinfo": "skip",
            },
            *data,
        ]
    return {
        "data": data,
        "layout": {
            "height": 260,
            "margin": {"l": 62, "r": 20, "t": 40, "b": 36},
            "paper_bgcolor": SHEET,
            "plot_bgcolor": SHEET,
            "font": {"color": INK, "size": 13},
            "dragmode": False,
            "hovermode": "closest",
            "legend": {"orientation": "h", "x": 0, "y": 1, "yanchor": "top", "yref": "container"},
            "shapes": [_limit(value) for value, _ in limits],
            "annotations": [_label(value, text) for value, text in limits],
            "xaxis": {"type": "date", "gridcolor": GRID, "linecolor": SOFT, "fixedrange": True},
            "yaxis": {
                "title": {"text": words["axis"], "standoff": 8, "font": {"size": 13}},
                "gridcolor": GRID,
                "linecolor": SOFT,
                "zeroline": False,
                "fixedrange": True,
            },
            "meta": {"narrow": {"margin": {"l": 52, "r": 8, "t": 64, "b": 36}}},
        },
    }


def _points(readings: Sequence[tuple[date, float, bool]], name: str, *, counts: bool) -> Figure:
    own = [row for row in readings if row[2] == counts]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "visible": bool(own),
        "x": [row[0].isoformat() for row in own],
        "y": [round(row[1], 4) for row in own],
        "marker": {
            "symbol": "circle" if counts else "diamond",
            "size": 8,
            "color": LEFT if counts else SHEET,
            "line": {"color": LEFT if counts else FOUND, "width": 1.5},
        },
        "hovertemplate": "%{y}<br>%{x}<extra></extra>",
    }


def _limit(value: float) -> Figure:
    line = {"color": INK, "width": 1.5, "dash": "longdash"}
    across = {"type": "line", "xref": "paper", "x0": 0, "x1": 1}
    return {**across, "yref": "y", "y0": value, "y1": value, "line": line}


def _label(value: float, text: str) -> Figure:
    return {
        "text": text,
        "showarrow": False,
        "xref": "paper",
        "x": 0.995,
        "xanchor": "right",
        "yref": "y",
        "y": value,
        "yanchor": "bottom",
        "font": {"size": 11, "color": INK},
    }
