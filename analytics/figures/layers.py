"""What drift adds to an appliance's story: expected readings, moves, parts, states, what lies ahead."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from analytics.figures.tokens import EXPECTED, FOUND, GRID, INK, LEFT, SHEET, SOFT, WASH, Figure

ALONE = timedelta(days=24)
"""Half the width of a shaded stretch that has one visit only."""


@dataclass(frozen=True)
class ReachOn:
    """A day's middle and 95 % ends, CO2 dry vol %."""

    on: date
    middle: float
    low: float
    high: float


@dataclass(frozen=True)
class Noted:
    """Something done on a day: a trim moved, a part fitted."""

    on: date
    text: str


@dataclass(frozen=True)
class StateOn:
    """A trim's state after a reading, its standard uncertainty, and whether it was moved just before."""

    on: date
    value: float
    u: float
    afresh: bool


@dataclass(frozen=True)
class States:
    """One trim over the years. title: with its unit.   digits: decimals of a value that is pointed at."""

    title: str
    rows: Sequence[StateOn]
    digits: int = 1


@dataclass(frozen=True)
class Layers:
    """Of one burner. expected, ahead: firing point (`high`, `low`) to its days, oldest first."""

    expected: Mapping[str, Sequence[ReachOn]] = field(default_factory=dict)
    ahead: Mapping[str, Sequence[ReachOn]] = field(default_factory=dict)
    moves: Sequence[Noted] = ()
    parts: Sequence[Noted] = ()
    states: Sequence[States] = ()

    def expected_of(self, point: str, on: date) -> ReachOn | None:
        """What was to be expected of a point on a day, where that is known."""
        return next((row for row in self.expected.get(point, ()) if row.on == on), None)


def expected_traces(rows: Sequence[ReachOn], axis: str, name: str, *, first: bool) -> list[Figure]:
    """A shaded stretch through the readings that were to be expected, and its middle."""
    if not rows:
        return []
    if len(rows) == 1:
        one = rows[0]
        rows = [ReachOn(one.on + shift, one.middle, one.low, one.high) for shift in (-ALONE, ALONE)]
    return [_shade(rows, axis, EXPECTED, name, rank=4, first=first), _middle(rows, axis, "dot")]


def ahead_traces(rows: Sequence[ReachOn], axis: str, name: str, *, first: bool) -> list[Figure]:
    """The fan of where the burner may stand if no one attends."""
    if not rows:
        return []
    return [_shade(rows, axis, WASH, name, rank=5, first=first), _middle(rows, axis, "dashdot")]


def move_trace(moves: Sequence[Noted], axis: str, at: float, name: str, *, first: bool) -> Figure:
    """A mark along the panel's foot for each move of a trim."""
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "legendrank": 6,
        "showlegend": first and bool(moves),
        "yaxis": axis,
        "x": [move.on.isoformat() for move in moves],
        "y": [at] * len(moves),
        "text": [move.text for move in moves],
        "marker": {"symbol": "triangle-up", "size": 10, "color": INK},
        "hovertemplate": "%{text}<br>%{x}<extra></extra>",
    }


def part_marks(parts: Sequence[Noted]) -> tuple[list[Figure], list[Figure]]:
    """Lines and labels where a part was fitted, through all panels."""
    line = {"color": INK, "width": 1.5, "dash": "longdash"}
    shapes: list[Figure] = [
        {
            "type": "line",
            "xref": "x",
            "yref": "paper",
            "x0": part.on.isoformat(),
            "x1": part.on.isoformat(),
            "y0": 0,
            "y1": 1,
            "line": line,
        }
        for part in parts
    ]
    labels: list[Figure] = [
        {
            "text": part.text,
            "showarrow": False,
            "xref": "x",
            "yref": "paper",
            "x": part.on.isoformat(),
            "y": 1,
            "xanchor": "left",
            "yanchor": "top",
            "font": {"size": 11, "color": INK},
        }
        for part in parts
    ]
    return shapes, labels


def state_traces(states: States, axis: str) -> list[Figure]:
    """A trim's state with its 95 % bars, the line broken where somebody moved it."""
    exact = states.digits + 2
    x: list[str | None] = []
    y: list[float | None] = []
    for row in states.rows:
        if row.afresh and x:
            x.append(None)
            y.append(None)
        x.append(row.on.isoformat())
        y.append(round(row.value, exact))
    line: Figure = {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "yaxis": axis,
        "line": {"color": LEFT, "width": 1.5},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    points: Figure = {
        "type": "scatter",
        "mode": "markers",
        "yaxis": axis,
        "showlegend": False,
        "x": [row.on.isoformat() for row in states.rows],
        "y": [round(row.value, exact) for row in states.rows],
        "error_y": {
            "type": "data",
            "array": [round(1.96 * row.u, exact) for row in states.rows],
            "color": SOFT,
            "thickness": 1,
            "width": 3,
        },
        "marker": {
            "symbol": ["square" if row.afresh else "circle" for row in states.rows],
            "size": 8,
            "color": [SHEET if row.afresh else LEFT for row in states.rows],
            "line": {"color": [FOUND if row.afresh else LEFT for row in states.rows], "width": 2},
        },
        "hovertemplate": f"%{{y:.{states.digits}f}}<br>%{{x}}<extra></extra>",
    }
    return [line, points]


def state_axis(title: str, domain: tuple[float, float]) -> Figure:
    """Its own scale: states are compared with themselves only."""
    return {
        "domain": [round(max(domain[0], 0.0), 4), round(domain[1], 4)],
        "title": {"text": title, "standoff": 8, "font": {"size": 13}},
        "gridcolor": GRID,
        "linecolor": SOFT,
        "zeroline": False,
        "fixedrange": True,
    }


def _shade(rows: Sequence[ReachOn], axis: str, colour: str, name: str, *, rank: int, first: bool) -> Figure:
    days = [row.on.isoformat() for row in rows]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "legendrank": rank,
        "showlegend": first,
        "yaxis": axis,
        "x": days + days[::-1],
        "y": [round(row.high, 3) for row in rows] + [round(row.low, 3) for row in reversed(rows)],
        "fill": "toself",
        "fillcolor": colour,
        "line": {"color": colour, "width": 0},
        # the bands behind it show through
        "opacity": 0.75,
        "hoverinfo": "skip",
    }


def _middle(rows: Sequence[ReachOn], axis: str, dash: str) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "yaxis": axis,
        "x": [row.on.isoformat() for row in rows],
        "y": [round(row.middle, 3) for row in rows],
        "line": {"color": SOFT, "width": 1, "dash": dash},
        "hoverinfo": "skip",
        "showlegend": False,
    }
