"""What stands round every figure alike: the sheet it is drawn on, its axes, a line across it."""

from typing import Any

from analytics.figures.tokens import GRID, INK, SHEET, SOFT, Figure

AXIS: Figure = {"gridcolor": GRID, "linecolor": SOFT, "fixedrange": True}
"""An axis that stays where it is: a page that is scrolled must not move the figure under the finger."""

TOP_LEGEND: Figure = {"orientation": "h", "x": 0, "y": 1, "yanchor": "top", "yref": "container"}


def sheet(
    *, height: int, margin: Figure, narrow: Figure, narrow_more: Figure | None = None, **more: Any
) -> Figure:
    """A layout in the stylesheet's colours. Height, and margins `l r t b` (narrow: on a phone), in px.

    narrow_more: what else stands differently on a phone.
    """
    return {
        "height": height,
        "margin": margin,
        "paper_bgcolor": SHEET,
        "plot_bgcolor": SHEET,
        "font": {"color": INK, "size": 13},
        "dragmode": False,
        "meta": {"narrow": {"margin": narrow, **(narrow_more or {})}},
        **more,
    }


def value_axis(text: str) -> Figure:
    """An axis for a value, with its name and unit beside it."""
    title = {"text": text, "standoff": 8, "font": {"size": 13}}
    # a number is written out: no reader of a unit asks for thousandths or millionths of it
    return {**AXIS, "title": title, "zeroline": False, "exponentformat": "none"}


def level(at: float, *, dash: str) -> Figure:
    """A line from side to side at a value of the first y axis."""
    line = {"color": INK, "width": 1.5, "dash": dash}
    return {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": at, "y1": at, "line": line}


def level_label(at: float, text: str) -> Figure:
    """The words on such a line, at its right end."""
    return {
        "text": text,
        "showarrow": False,
        "xref": "paper",
        "x": 0.995,
        "xanchor": "right",
        "yref": "y",
        "y": at,
        "yanchor": "bottom",
        "font": {"size": 11, "color": INK},
    }
