"""Figures as plain dictionaries in Plotly's own shape, with colours named by the stylesheet's tokens.

Built by hand rather than through `plotly.graph_objects`, which checks every property on every request; the
tests put each figure through it once instead.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from analytics.figures.layers import (
    Layers,
    ahead_traces,
    expected_traces,
    move_trace,
    part_marks,
    state_axis,
    state_traces,
)
from analytics.figures.tokens import FOUND, GRID, INK, LEFT, SHEET, SOFT, TARGET, Band, Figure

PANEL_PX, STATE_PX, GAP_PX, HEAD_PX = 215, 120, 36, 104
NO_LAYERS = Layers()


@dataclass(frozen=True)
class StoryRow:
    """One visit at one firing point: CO2 dry vol %, standard uncertainties, and the limits it was judged by.

    `left_co2_pct` is None where no trim was moved: what was found is what was left.
    """

    visit_uuid: str
    on: date
    point: str
    point_text: str
    found_co2_pct: float | None
    u_found_co2_pct: float | None
    left_co2_pct: float | None
    u_left_co2_pct: float | None
    target_co2_pct: Band | None
    accept_co2_pct: Band | None

    @property
    def found_outside(self) -> bool:
        """The value as found lies outside the acceptance band."""
        return _outside(self.found_co2_pct, self.accept_co2_pct)

    @property
    def left_outside(self) -> bool:
        """The value as left lies outside the acceptance band."""
        return _outside(self.left_co2_pct, self.accept_co2_pct)


@dataclass(frozen=True)
class Counted:
    """One firing point's visits in a sentence's worth of numbers."""

    point_text: str
    visits: int
    found_outside: int
    first_on: date
    last_on: date


def story_counts(rows: Sequence[StoryRow]) -> list[Counted]:
    """Per firing point, in the figure's order: visits with a reading as found, and how many lay outside."""
    counted = []
    for panel in _panels(rows):
        found = [row for row in panel if row.found_co2_pct is not None]
        if found:
            outside = sum(row.found_outside for row in found)
            counted.append(Counted(found[0].point_text, len(found), outside, found[0].on, found[-1].on))
    return counted


def story(
    rows: Sequence[StoryRow],
    *,
    words: dict[str, str],
    due_on: date | None = None,
    layers: Layers = NO_LAYERS,
) -> Figure | None:
    """CO2 as found and as left over the years, one panel per firing point, against target and acceptance.

    rows: any order; one per visit and firing point. words: `found`, `left`, `target`, `accept_low`,
    `accept_high`, `due`, `axis`, and for the layers `expected`, `ahead`, `moved`, in the reader's language.
    As found is an open diamond, as left a filled circle, each with ± 2 standard uncertainties. layers: shaded
    behind them and in a panel per trim below. Returns None where there is nothing to draw.
    """
    panels = _panels(rows)
    if not panels:
        return None
    span = _span(rows, due_on)
    tops = _domains(len(panels), len(layers.states))
    figure: Figure = {"data": [], "layout": _layout(len(panels), len(layers.states))}
    figure["layout"]["xaxis"] = _time_axis(span, anchor=f"y{len(tops) if len(tops) > 1 else ''}")
    for index, panel in enumerate(panels):
        axis = "y" if index == 0 else f"y{index + 1}"
        scale = _co2_axis(panel, words["axis"], tops[index])
        figure["layout"][f"yaxis{index + 1 if index else ''}"] = scale
        figure["layout"]["annotations"].append(_panel_title(panel[0].point_text, tops[index][1]))
        figure["data"] += _behind(panel, layers, axis, span, words, first=index == 0)
        figure["data"] += _readings(panel, axis, words, first=index == 0)
        figure["data"].append(
            move_trace(layers.moves, axis, scale["range"][0], words.get("moved", ""), first=index == 0)
        )
        figure["layout"]["annotations"] += _limit_labels(panel, axis, words)
    for place, states in enumerate(layers.states, start=len(panels)):
        figure["layout"][f"yaxis{place + 1}"] = state_axis(states.title, tops[place])
        figure["data"] += state_traces(states, f"y{place + 1}")
    shapes, labels = part_marks([part for part in layers.parts if span[0] <= part.on <= span[1]])
    figure["layout"]["shapes"] += shapes
    figure["layout"]["annotations"] += labels
    if due_on is not None:
        figure["layout"]["shapes"].append(_due_line(due_on))
        figure["layout"]["annotations"].append(_due_label(due_on, words["due"]))
    return figure


def _behind(
    panel: Sequence[StoryRow],
    layers: Layers,
    axis: str,
    span: tuple[date, date],
    words: dict[str, str],
    *,
    first: bool,
) -> list[Figure]:
    """Bands, then what was expected and what lies ahead, up to the edge of the drawing."""
    point = panel[0].point
    ahead = [row for row in layers.ahead.get(point, ()) if row.on <= span[1]]
    return [
        *_bands(panel, axis, span, words, first=first),
        *ahead_traces(ahead, axis, words.get("ahead", ""), first=first),
        *expected_traces(layers.expected.get(point, ()), axis, words.get("expected", ""), first=first),
    ]


def _domains(panels: int, states: int) -> list[tuple[float, float]]:
    """Lower and upper end of every panel as shares of the plot, from the top down."""
    sizes = [PANEL_PX] * panels + [STATE_PX] * states
    total = sum(sizes) + GAP_PX * (len(sizes) - 1)
    ends, top = [], float(total)
    for size in sizes:
        ends.append(((top - size) / total, top / total))
        top -= size + GAP_PX
    return ends


def _outside(value: float | None, band: Band | None) -> bool:
    return value is not None and band is not None and not band[0] <= value <= band[1]


def _panels(rows: Sequence[StoryRow]) -> list[list[StoryRow]]:
    order = {"high": 0, "percent": 1, "low": 2}
    keys = sorted({(order[row.point], row.point_text) for row in rows})
    panels = [
        sorted((row for row in rows if (order[row.point], row.point_text) == key), key=lambda row: row.on)
        for key in keys
    ]
    return [panel for panel in panels if any(_values(row) for row in panel)]


def _values(row: StoryRow) -> list[float]:
    return [value for value in (row.found_co2_pct, row.left_co2_pct) if value is not None]


def _reach(row: StoryRow) -> list[float]:
    """Both ends of every bar."""
    found = (row.found_co2_pct, row.u_found_co2_pct)
    left = (row.left_co2_pct, row.u_left_co2_pct)
    known = [(value, 2 * (spread or 0.0)) for value, spread in (found, left) if value is not None]
    return [end for value, spread in known for end in (value - spread, value + spread)]


def _span(rows: Sequence[StoryRow], due_on: date | None) -> tuple[date, date]:
    days = [row.on for row in rows] + ([due_on] if due_on else [])
    pad = max((max(days) - min(days)).days // 25, 30)
    return min(days) - timedelta(days=pad), max(days) + timedelta(days=pad)


def _layout(panels: int, states: int) -> Figure:
    height = HEAD_PX + PANEL_PX * panels + STATE_PX * states + GAP_PX * (panels + states - 1)
    # on a narrow screen the legend has a line for each of its names
    more = 84 if states else 0
    return {
        "height": height,
        "margin": {"l": 62, "r": 20, "t": 64, "b": 40},
        "paper_bgcolor": SHEET,
        "plot_bgcolor": SHEET,
        "font": {"color": INK, "size": 13},
        "hovermode": "closest",
        "dragmode": False,
        "showlegend": True,
        "legend": {"orientation": "h", "x": 0, "y": 1, "yanchor": "top", "yref": "container"},
        "annotations": [],
        "shapes": [],
        "meta": {
            "narrow": {"height": height + 32 + more, "margin": {"l": 48, "r": 8, "t": 96 + more, "b": 40}}
        },
    }


def _time_axis(span: tuple[date, date], anchor: str) -> Figure:
    return {
        "type": "date",
        "range": [day.isoformat() for day in span],
        "anchor": anchor,
        "showgrid": True,
        "gridcolor": GRID,
        "linecolor": SOFT,
        "ticks": "outside",
        "tickcolor": SOFT,
        "fixedrange": True,
        "hoverformat": "%-d %b %Y",
    }


def _co2_axis(panel: Sequence[StoryRow], title: str, domain: tuple[float, float]) -> Figure:
    ends = [end for row in panel for end in _reach(row)]
    ends += [
        end for row in panel for band in (row.accept_co2_pct, row.target_co2_pct) if band for end in band
    ]
    pad = max(0.06 * (max(ends) - min(ends)), 0.08)
    return {
        "domain": [round(max(domain[0], 0.0), 4), round(domain[1], 4)],
        "title": {"text": title, "standoff": 8, "font": {"size": 13}},
        "range": [round(min(ends) - pad, 3), round(max(ends) + pad, 3)],
        "gridcolor": GRID,
        "linecolor": SOFT,
        "zeroline": False,
        "fixedrange": True,
        "tickformat": ".1f",
    }


def _panel_title(text: str, top: float) -> Figure:
    return {
        "text": text,
        "font": {"size": 14, "weight": 600},
        "showarrow": False,
        "xref": "paper",
        "yref": "paper",
        "x": 0,
        "y": top,
        "xanchor": "left",
        "yanchor": "bottom",
    }


def _held(
    panel: Sequence[StoryRow], which: str, end: int, span: tuple[date, date]
) -> tuple[list[str], list[float]]:
    """One end of a band as a stepped line across the whole span: each limit holds until the next visit's."""
    known = [(row.on, getattr(row, which)[end]) for row in panel if getattr(row, which) is not None]
    if not known:
        return [], []
    days = [span[0].isoformat(), *(day.isoformat() for day, _ in known), span[1].isoformat()]
    return days, [known[0][1], *(value for _, value in known), known[-1][1]]


def _bands(
    panel: Sequence[StoryRow], axis: str, span: tuple[date, date], words: dict[str, str], *, first: bool
) -> list[Figure]:
    traces: list[Figure] = []
    common = {"type": "scatter", "mode": "lines", "yaxis": axis, "hoverinfo": "skip"}
    for end in (0, 1):
        x, y = _held(panel, "target_co2_pct", end, span)
        if x:
            fill = (
                {"fill": "tonexty", "fillcolor": TARGET, "name": words["target"], "legendrank": 3}
                if end
                else {}
            )
            line = {"color": TARGET, "width": 0, "shape": "hv"}
            traces.append({**common, "x": x, "y": y, "line": line, "showlegend": bool(end) and first, **fill})
    for end in (0, 1):
        x, y = _held(panel, "accept_co2_pct", end, span)
        if x:
            line = {"color": INK, "width": 1.5, "dash": "dash", "shape": "hv"}
            name = words["accept_high"] if end else words["accept_low"]
            traces.append({**common, "x": x, "y": y, "line": line, "name": name, "showlegend": False})
    return traces


def _readings(panel: Sequence[StoryRow], axis: str, words: dict[str, str], *, first: bool) -> list[Figure]:
    found = [(row.on, row.found_co2_pct, row.u_found_co2_pct) for row in panel]
    left = [(row.on, row.left_co2_pct, row.u_left_co2_pct) for row in panel]
    open_diamond = {"symbol": "diamond", "size": 10, "color": SHEET, "line": {"color": FOUND, "width": 2}}
    disc = {"symbol": "circle", "size": 9, "color": LEFT}
    return [
        _moves(panel, axis),
        _markers(found, axis, open_diamond, FOUND, words["found"], rank=1, first=first),
        _markers(left, axis, disc, LEFT, words["left"], rank=2, first=first),
    ]


def _moves(panel: Sequence[StoryRow], axis: str) -> Figure:
    """A thin line from found to left, broken between visits."""
    x: list[str | None] = []
    y: list[float | None] = []
    for row in panel:
        if row.found_co2_pct is not None and row.left_co2_pct is not None:
            x += [row.on.isoformat(), row.on.isoformat(), None]
            y += [row.found_co2_pct, row.left_co2_pct, None]
    line = {"color": SOFT, "width": 1, "dash": "dot"}
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "yaxis": axis,
        "line": line,
        "hoverinfo": "skip",
        "showlegend": False,
    }


def _markers(
    readings: Sequence[tuple[date, float | None, float | None]],
    axis: str,
    marker: Figure,
    colour: str,
    name: str,
    *,
    rank: int,
    first: bool,
) -> Figure:
    points = [(day, value, spread) for day, value, spread in readings if value is not None]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "legendrank": rank,
        "showlegend": first,
        "yaxis": axis,
        "x": [day.isoformat() for day, _, _ in points],
        "y": [value for _, value, _ in points],
        "marker": marker,
        "error_y": {
            "type": "data",
            "array": [2 * (spread or 0.0) for _, _, spread in points],
            "color": colour,
            "thickness": 1,
            "width": 3,
        },
        "hovertemplate": f"{name}: %{{y:.2f}} vol %<br>%{{x}}<extra></extra>",
    }


def _limit_labels(panel: Sequence[StoryRow], axis: str, words: dict[str, str]) -> list[Figure]:
    last = next((row.accept_co2_pct for row in reversed(panel) if row.accept_co2_pct is not None), None)
    if last is None:
        return []
    return [
        {
            "text": f"{words[name]} {value:.2f}",
            "showarrow": False,
            "xref": "paper",
            "x": 0.005,
            "xanchor": "left",
            "yref": axis,
            "y": value,
            "yanchor": anchor,
            "font": {"size": 11, "color": INK},
        }
        for name, value, anchor in (("accept_low", last[0], "top"), ("accept_high", last[1], "bottom"))
    ]


def _due_line(due_on: date) -> Figure:
    day = due_on.isoformat()
    line = {"color": SOFT, "width": 1, "dash": "dot"}
    return {
        "type": "line",
        "xref": "x",
        "yref": "paper",
        "x0": day,
        "x1": day,
        "y0": 0,
        "y1": 1,
        "line": line,
    }


def _due_label(due_on: date, text: str) -> Figure:
    return {
        "text": text,
        "showarrow": False,
        "xref": "x",
        "yref": "paper",
        "x": due_on.isoformat(),
        "y": 0,
        "xanchor": "right",
        "yanchor": "bottom",
        "font": {"size": 11, "color": SOFT},
    }
