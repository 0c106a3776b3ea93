"""A small chart of one quantity over the years: readings, the trend with its interval, limits drawn."""

import textwrap
from collections.abc import Sequence
from datetime import date

from analytics.figures.frame import AXIS, TOP_LEGEND, level, level_label, sheet, value_axis
from analytics.figures.tokens import FOUND, LEFT, SHEET, WASH, Figure

NARROW_LABEL_CHARACTERS = 42


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
        "layout": sheet(
            height=290,
            margin={"l": 62, "r": 20, "t": 40, "b": 36},
            narrow={"l": 52, "r": 8, "t": 64, "b": 36},
            narrow_more={"annotations": [level_label(value, _shortened(text)) for value, text in limits]},
            hovermode="closest",
            legend=TOP_LEGEND,
            shapes=[level(value, dash="longdash") for value, _ in limits],
            annotations=[level_label(value, text) for value, text in limits],
            xaxis={**AXIS, "type": "date"},
            yaxis=value_axis(words["axis"]),
        ),
    }


def _shortened(text: str) -> str:
    """A limit with as much of its source as a phone is wide."""
    return textwrap.shorten(text, NARROW_LABEL_CHARACTERS, placeholder=" …")


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
