"""CO2 over O2: the fuel's line, readings on or off it with their uncertainty, and the burner's bands."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.figures.frame import AXIS, sheet
from analytics.figures.tokens import FOUND, INK, LEFT, SHEET, SOFT, TARGET, Band, Figure
from combustion.balance import AIR_O2_PCT, co2_from_phi, o2_from_phi
from combustion.fuels import Fuel

COVERAGE = 2.0
ACCEPT = "var(--band-accept)"
AIR_RATIOS = (1.0, 1.1, 1.2, 1.3, 1.5, 2.0, 3.0)
_CORNERS = 48
_LEAST_O2_SPAN_PCT = 8.0


@dataclass(frozen=True)
class FuelLinePoint:
    """A reading: dry vol % with standard uncertainties. Two measured channels err apart; one and what follows
    from it err together along the line.
    """

    name: str
    o2_pct: float
    co2_pct: float
    u_o2_pct: float
    u_co2_pct: float
    both_measured: bool = False
    as_left: bool = False
    low_fire: bool = False


def fuel_line(
    points: Sequence[FuelLinePoint],
    fuel: Fuel,
    *,
    words: dict[str, str],
    target_co2_pct: Band | None = None,
    accept_co2_pct: Band | None = None,
    beside: Sequence[Fuel] = (),
) -> Figure | None:
    """Readings against the line that complete combustion of the fuel draws from CO2max to plain air.

    points: each with its region of ± 2 standard uncertainties; filled as left, else open; low a triangle.
    words: `axis_o2`, `axis_co2`, `region`, `air_ratio`, `target`, `accept`, in the reader's language.
    bands: CO2 dry, vol %.   beside: other fuels' lines, drawn thin.   None without a point or without carbon.
    """
    if not points or fuel.carbon == 0.0:
        return None
    widest = max(point.o2_pct + 3.0 for point in points)
    o2_end = min(AIR_O2_PCT, max(_LEAST_O2_SPAN_PCT, widest))
    bands = [(accept_co2_pct, ACCEPT, words["accept"]), (target_co2_pct, TARGET, words["target"])]
    drawn = [(band, colour, name) for band, colour, name in bands if band is not None]
    return {
        "data": [
            *(_band(band, colour, name, o2_end) for band, colour, name in drawn),
            *(_line(other, o2_end, width=1, dash="dot", colour=SOFT) for other in beside),
            _line(fuel, o2_end, width=2, dash="solid", colour=INK),
            _ticks(fuel, o2_end, words["air_ratio"]),
            *(_region(point, words["region"]) for point in points),
            *(_marker(point) for point in points),
        ],
        "layout": _layout(points, fuel, o2_end, words),
    }


def _line(fuel: Fuel, o2_end: float, *, width: int, dash: str, colour: str) -> Figure:
    o2 = [0.0, o2_end]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": fuel.name,
        "x": o2,
        "y": [round(_co2_at(fuel, x), 4) for x in o2],
        "line": {"color": colour, "width": width, "dash": dash},
        "hoverinfo": "skip",
    }


def _co2_at(fuel: Fuel, o2_pct: float) -> float:
    return fuel.co2_max_pct * (1.0 - o2_pct / AIR_O2_PCT)


def _ticks(fuel: Fuel, o2_end: float, name: str) -> Figure:
    ratios = [ratio for ratio in AIR_RATIOS if float(o2_from_phi(1.0 / ratio, fuel)) < o2_end]
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": name,
        "showlegend": False,
        "x": [round(float(o2_from_phi(1.0 / ratio, fuel)), 4) for ratio in ratios],
        "y": [round(float(co2_from_phi(1.0 / ratio, fuel)), 4) for ratio in ratios],
        "text": [f"{ratio:g}" for ratio in ratios],
        "textposition": "top right",
        "textfont": {"color": SOFT, "size": 11},
        "marker": {"symbol": "line-ns", "size": 8, "line": {"color": INK, "width": 1.5}},
        "hovertemplate": f"{name} %{{text}}<br>O2 %{{x:.2f}}, CO2 %{{y:.2f}} vol %<extra></extra>",
    }


def _band(band: Band, colour: str, name: str, o2_end: float) -> Figure:
    low, high = band
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": [0.0, o2_end, o2_end, 0.0, 0.0],
        "y": [low, low, high, high, low],
        "fill": "toself",
        "fillcolor": colour,
        "line": {"color": SOFT, "width": 1, "dash": "dash"},
        "hoverinfo": "skip",
    }


def _region(point: FuelLinePoint, name: str) -> Figure:
    """Both measured: an ellipse. One measured: a stretch of the line, as CO2 falls where O2 rises."""
    turn = np.linspace(0.0, 2.0 * np.pi, _CORNERS)
    along, across = np.cos(turn), np.sin(turn) if point.both_measured else -np.cos(turn)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "showlegend": False,
        "x": np.round(point.o2_pct + COVERAGE * point.u_o2_pct * along, 4).tolist(),
        "y": np.round(point.co2_pct + COVERAGE * point.u_co2_pct * across, 4).tolist(),
        "line": {"color": _colour(point), "width": 1.5 if point.both_measured else 6},
        "opacity": 0.75 if point.both_measured else 0.45,
        "hoverinfo": "skip",
    }


def _marker(point: FuelLinePoint) -> Figure:
    symbol = "triangle-down" if point.low_fire else "circle" if point.as_left else "diamond"
    drawn = {"symbol": symbol, "size": 12, "color": LEFT if point.as_left else SHEET}
    return {
        "type": "scatter",
        "mode": "markers",
        "name": point.name,
        "x": [round(point.o2_pct, 4)],
        "y": [round(point.co2_pct, 4)],
        "marker": {**drawn, "line": {"color": _colour(point), "width": 2}},
        "hovertemplate": f"{point.name}<br>O2 %{{x:.2f}}, CO2 %{{y:.2f}} vol %<extra></extra>",
    }


def _colour(point: FuelLinePoint) -> str:
    return LEFT if point.as_left else FOUND


def _layout(points: Sequence[FuelLinePoint], fuel: Fuel, o2_end: float, words: dict[str, str]) -> Figure:
    tallest = max(fuel.co2_max_pct, *(point.co2_pct + COVERAGE * point.u_co2_pct for point in points))
    axis = {**AXIS, "zeroline": False}
    return sheet(
        height=470,
        margin={"l": 58, "r": 16, "t": 12, "b": 48},
        narrow={"l": 48, "r": 8, "t": 12, "b": 48},
        hovermode="closest",
        legend={"orientation": "h", "y": -0.18, "yanchor": "top", "itemclick": False},
        xaxis={**axis, "title": {"text": words["axis_o2"]}, "range": [-0.3, o2_end]},
        yaxis={
            **axis,
            "title": {"text": words["axis_co2"], "standoff": 8},
            "range": [max(0.0, _co2_at(fuel, o2_end) - 0.5), tallest * 1.06],
        },
    )
