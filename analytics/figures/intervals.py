"""Estimates with their intervals, one to a line, against lines that say what is usual or allowed."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from analytics.figures.frame import AXIS, TOP_LEGEND, sheet, value_axis
from analytics.figures.tokens import FOUND, INK, LEFT, SHEET, Figure

LINE_PX, TWO_LINES_PX, LEAST_PX = 26, 40, 220
CHARACTER_PX, MOST_NAME_CHARACTERS = 7.2, 44
NARROW_NAME_CHARACTERS, NARROW_AXIS_CHARACTERS = 20, 22
"""On a phone a name stands in two lines, so that half the width is left for what it is the name of."""
SECOND_LEGEND_LINE_PX = 26
"""On a phone the two words of the legend stand below each other, and the marks' names below both."""


@dataclass(frozen=True)
class Estimate:
    """A named value with both ends of its interval; `weak` ones are drawn open."""

    name: str
    value: float
    low: float
    high: float
    weak: bool = False


@dataclass(frozen=True)
class Mark:
    """A line across all estimates: a limit, or what is usual."""

    at: float
    text: str


def intervals(
    rows: Sequence[Estimate], *, words: dict[str, str], marks: Sequence[Mark] = ()
) -> Figure | None:
    """One estimate a line, the first on top. words: `axis` (with its unit), `firm`, `weak` for the legend.

    Firm ones are filled circles, weak ones open diamonds. None where there is nothing to draw.
    """
    if not rows:
        return None
    names = [row.name for row in rows]
    traces = [
        _trace([row for row in rows if row.weak == weak], words["weak" if weak else "firm"], weak=weak)
        for weak in (False, True)
        if any(row.weak == weak for row in rows)
    ]
    wrapped = [_in_two_lines(name) for name in names]
    line_px = TWO_LINES_PX if any(len(lines) > 1 for lines in wrapped) else LINE_PX
    narrow_left = _left([line for lines in wrapped for line in lines])
    second = SECOND_LEGEND_LINE_PX if marks and len(traces) > 1 else 0
    axis_lines = textwrap.wrap(words["axis"], NARROW_AXIS_CHARACTERS)
    return {
        "data": traces,
        "layout": sheet(
            height=_height(LINE_PX, len(rows)) + second,
            margin={"l": _left(names), "r": 20, "t": 44, "b": 48},
            narrow={"l": narrow_left, "r": 8, "t": 44 + second, "b": 32 + 16 * len(axis_lines)},
            narrow_more={
                "height": _height(line_px, len(rows)) + second,
                "xaxis": value_axis("<br>".join(axis_lines)),
                "yaxis": {
                    **_names_axis(names),
                    "tickvals": names,
                    "ticktext": ["<br>".join(lines) for lines in wrapped],
                },
            },
            showlegend=len(traces) > 1,
            legend=TOP_LEGEND,
            shapes=[_line(mark) for mark in marks],
            annotations=[_label(mark) for mark in marks],
            xaxis=value_axis(words["axis"]),
            yaxis=_names_axis(names),
        ),
    }


def _names_axis(names: Sequence[str]) -> Figure:
    return {
        **AXIS,
        "type": "category",
        "categoryorder": "array",
        "categoryarray": list(names[::-1]),
        "range": [-0.6, len(names) - 0.4],
    }


def _in_two_lines(name: str) -> list[str]:
    return textwrap.wrap(name, NARROW_NAME_CHARACTERS, max_lines=2, placeholder=" …", break_on_hyphens=False)


def _left(lines: Sequence[str]) -> int:
    """Room for the longest, px."""
    return 14 + round(CHARACTER_PX * min(MOST_NAME_CHARACTERS, max(map(len, lines))))


def _height(line_px: int, lines: int) -> int:
    return max(LEAST_PX, 110 + line_px * lines)


def _trace(rows: Sequence[Estimate], name: str, *, weak: bool) -> Figure:
    colour = FOUND if weak else LEFT
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [_exact(row.value) for row in rows],
        "y": [row.name for row in rows],
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [_exact(row.high - row.value) for row in rows],
            "arrayminus": [_exact(row.value - row.low) for row in rows],
            "color": colour,
            "thickness": 1.5,
            "width": 4,
        },
        "marker": {
            "symbol": "diamond" if weak else "circle",
            "size": 10,
            "color": SHEET if weak else LEFT,
            "line": {"color": colour, "width": 2},
        },
        "hovertemplate": "%{y}: %{x:.3g}<extra></extra>",
    }


def _exact(value: float) -> float:
    """As exactly as a drawing can show, whatever the unit."""
    return float(f"{value:.5g}")


def _line(mark: Mark) -> Figure:
    line = {"color": INK, "width": 1.5, "dash": "dash"}
    return {
        "type": "line",
        "x0": mark.at,
        "x1": mark.at,
        "xref": "x",
        "y0": 0,
        "y1": 1,
        "yref": "paper",
        "line": line,
    }


def _label(mark: Mark) -> Figure:
    return {
        "text": mark.text,
        "showarrow": False,
        "xref": "x",
        "x": mark.at,
        "yref": "paper",
        "y": 1,
        "yanchor": "bottom",
        "xanchor": "center",
        "font": {"size": 11, "color": INK},
    }
