"""The story figure, put through the chart library's own checks."""

from datetime import date, timedelta
from itertools import pairwise

import plotly.graph_objects as go

from analytics.figures import (
    Estimate,
    Layers,
    Mark,
    MonthValue,
    Noted,
    ReachOn,
    StateOn,
    States,
    StoryRow,
    by_month,
    intervals,
    story,
    story_counts,
)

WORDS = {
    "found": "as found",
    "left": "as left",
    "target": "target band",
    "accept_low": "acceptance, lower",
    "accept_high": "acceptance, upper",
    "due": "next due",
    "axis": "CO2, dry vol %",
}


def row(day: date, point: str, found: float | None, left: float | None = None, **more: object) -> StoryRow:
    values = {
        "visit_uuid": "x",
        "on": day,
        "point": point,
        "point_text": {"high": "High fire", "low": "Low fire"}[point],
        "found_co2_pct": found,
        "u_found_co2_pct": 0.07,
        "left_co2_pct": left,
        "u_left_co2_pct": None,
        "target_co2_pct": (8.8, 9.2),
        "accept_co2_pct": (8.5, 9.5),
    }
    return StoryRow(**(values | more))


DAYS = [date(2022, 3, 1) + timedelta(days=365 * year) for year in range(4)]
ROWS = [row(day, point, 9.6 if point == "high" else 8.9, 9.0) for day in DAYS for point in ("low", "high")]


def test_the_figure_is_one_that_the_chart_library_accepts() -> None:
    figure = story(ROWS, words=WORDS, due_on=date(2026, 3, 1))
    checked = go.Figure({"data": figure["data"], "layout": figure["layout"]})
    assert [axis.title.text for axis in checked.select_yaxes()] == ["CO2, dry vol %", "CO2, dry vol %"]


def test_every_reading_is_drawn_with_twice_its_uncertainty() -> None:
    figure = story(ROWS, words=WORDS)
    found = [trace for trace in figure["data"] if trace.get("name") == "as found"]
    assert [trace["y"] for trace in found] == [[9.6] * 4, [8.9] * 4]
    assert found[0]["error_y"]["array"] == [0.14] * 4
    assert found[0]["marker"]["symbol"] != next(
        trace["marker"]["symbol"] for trace in figure["data"] if trace.get("name") == "as left"
    )


def test_both_limits_are_drawn_and_labelled_with_their_values() -> None:
    figure = story(ROWS, words=WORDS)
    texts = [note["text"] for note in figure["layout"]["annotations"]]
    assert "acceptance, lower 8.50" in texts
    assert "acceptance, upper 9.50" in texts
    upper = next(trace for trace in figure["data"] if trace.get("name") == "acceptance, upper")
    assert set(upper["y"]) == {9.5}


def test_a_limit_that_changed_holds_until_the_next_visit() -> None:
    rows = [row(DAYS[0], "high", 9.0), row(DAYS[1], "high", 9.0, accept_co2_pct=(8.6, 9.4))]
    figure = story(rows, words=WORDS)
    upper = next(trace for trace in figure["data"] if trace.get("name") == "acceptance, upper")
    assert upper["y"] == [9.5, 9.5, 9.4, 9.4]
    assert upper["line"]["shape"] == "hv"


def test_the_sentence_counts_what_lay_outside() -> None:
    high, low = story_counts(ROWS)
    assert (high.point_text, high.visits, high.found_outside) == ("High fire", 4, 4)
    assert (low.point_text, low.visits, low.found_outside) == ("Low fire", 4, 0)


def test_without_a_reading_there_is_no_figure() -> None:
    assert story([], words=WORDS) is None
    assert story([row(DAYS[0], "high", None)], words=WORDS) is None


def test_a_visit_without_limits_is_drawn_without_bands() -> None:
    figure = story([row(DAYS[0], "high", 9.0, target_co2_pct=None, accept_co2_pct=None)], words=WORDS)
    assert not any(trace.get("fill") for trace in figure["data"])
    assert go.Figure(figure).data


def test_what_drift_adds_is_drawn_behind_and_below_the_readings() -> None:
    reach = [ReachOn(day, 9.0, 8.8, 9.2) for day in DAYS]
    states = States(
        "throttle, % of K", [StateOn(DAYS[0], -24.0, 0.5, True), StateOn(DAYS[1], -22.0, 0.5, False)]
    )
    layers = Layers(
        expected={"high": reach[:1]},
        ahead={"high": reach},
        moves=[Noted(DAYS[1], "throttle clockwise")],
        parts=[Noted(DAYS[2], "gas valve")],
        states=[states],
    )
    words = WORDS | {"expected": "expected", "ahead": "ahead", "moved": "trim moved"}
    figure = story(ROWS, words=words, layers=layers)
    checked = go.Figure({"data": figure["data"], "layout": figure["layout"]})
    domains = [axis.domain for axis in checked.select_yaxes()]
    assert len(domains) == 3
    assert all(upper[0] > lower[1] for upper, lower in pairwise(domains))
    names = [trace["name"] for trace in figure["data"] if trace.get("name")]
    assert names.index("expected") < names.index("as found")
    assert "throttle clockwise" in next(t for t in figure["data"] if t.get("name") == "trim moved")["text"]
    assert "gas valve" in [note["text"] for note in figure["layout"]["annotations"]]
    assert layers.expected_of("high", DAYS[0]) == reach[0]
    assert layers.expected_of("low", DAYS[0]) is None


def test_estimates_stand_one_to_a_line_with_both_ends_of_their_interval() -> None:
    rows = [Estimate("P4-03", 0.38, 0.32, 0.44), Estimate("P4-05", -0.1, -0.24, 0.02, weak=True)]
    words = {"axis": "bias, vol %", "firm": "told from the gas", "weak": "weak"}
    figure = go.Figure(intervals(rows, words=words, marks=[Mark(0.0, "true")]))
    firm, weak = figure.data
    assert (firm.x[0] + firm.error_x.array[0], firm.x[0] - firm.error_x.arrayminus[0]) == (0.44, 0.32)
    assert firm.marker.symbol != weak.marker.symbol
    assert figure.layout.shapes[0].x0 == 0.0
    assert intervals([], words=words) is None


def test_a_long_name_has_its_room_and_two_lines_on_a_phone() -> None:
    name = "T070-B5, Skelby Moor Linen Works"
    words = {"axis": "kWh", "firm": "", "weak": ""}
    layout = go.Figure(intervals([Estimate(name, 1.0, 0.5, 1.5)], words=words)).layout
    narrow = layout.meta["narrow"]
    assert narrow["yaxis"]["ticktext"] == ["T070-B5, Skelby Moor<br>Linen Works"]
    assert narrow["yaxis"]["tickvals"] == list(layout.yaxis.categoryarray) == [name]
    # at least 7 px a letter, which is what the font takes at 13 px; half a phone's width at most
    assert layout.margin.l >= 7 * len(name)
    assert 7 * len("T070-B5, Skelby Moor") <= narrow["margin"]["l"] <= 164


def test_months_are_drawn_with_their_interval_and_what_is_usual() -> None:
    months = [MonthValue(date(2026, month, 1), month / 10, 0.0, 1.0, weak=month == 1) for month in (1, 2)]
    words = {"axis": "shift, %", "value": "month", "weak": "weak", "interval": "95 %", "usual": "usual"}
    figure = go.Figure(by_month(months, words=words))
    assert [trace.name for trace in figure.data if trace.name] == ["95 %", "month", "weak"]
    assert figure.layout.annotations[0].text == "usual"
    assert by_month([], words=words) is None
