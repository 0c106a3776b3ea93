"""What the visit form shows beside its fields: the grid of found and left, what comes next, the lists.

The grid and the next step are made from the answer to the last save, so that the page says what any device is
told.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from fleet.items import item_book, items_answer
from fleet.models import Analyser, Appliance, Point
from visits.models import FiringTest, TestResult
from visits.now import SETTLED, graver, now_of
from visits.putting_back import suggestions_together
from visits.settling import SETTLE_S
from web.band import BandBar, band_bar
from web.forms.visit.sheet import Asked

Answer = Mapping[str, Any]


@dataclass(frozen=True)
class Cell:
    """One test against its bands. CO2 dry vol %; `u_co2_pct` is a standard uncertainty."""

    co2_pct: float | None
    u_co2_pct: float | None
    p_inside: float | None
    verdict: str
    settled: str
    why: str
    co_ppm: float | None
    bar: BandBar | None


@dataclass(frozen=True)
class GridRow:
    """One firing point of one burner: found beside left, with the limits both stand against."""

    burner: int | None
    text: str
    target_co2_pct: tuple[float, float] | None
    accept_co2_pct: tuple[float, float] | None
    found: Cell | None
    left: Cell | None


@dataclass(frozen=True)
class Read:
    """What stands of one firing test: its readings, the window of its value, and what is missing.

    CO2 dry vol %; `u_co2_pct` is a standard uncertainty. `to_go_s` counts from the last reading.
    """

    readings: int
    window: tuple[datetime, datetime] | None
    cell: Cell
    is_settled: bool
    to_go_s: float | None
    target_co2_pct: tuple[float, float] | None
    cautions: Sequence[Mapping[str, Any]]


@dataclass(frozen=True)
class Waiting:
    """What the timer counts from: the last move or reading, and how long the analyser needs."""

    since: datetime | None
    what: str
    settle_s: float


def asked_of(appliance: Appliance, kind: str, opened_at: datetime) -> Asked:
    """The lists of one visit, in four queries. The appliance comes with model, specs and place joined."""
    on = opened_at.astimezone(appliance.plant.site.zone).date()
    units = list(Appliance.objects.in_use().filter(plant=appliance.plant).order_by("tag"))
    suggested = suggestions_together([appliance], {appliance.plant_id: units}, on)[appliance.pk]
    rates = {
        row.percent
        for row in appliance.model.firing_specs.all()
        if row.point == Point.PERCENT and row.fuel == appliance.fuel and row.percent
    }
    return Asked(
        items=items_answer(item_book(), appliance, kind, on),
        suggestions=suggested,
        units_of_plant=[row.tag for row in units],
        part_rates=sorted(rates, reverse=True),
    )


def now_shown(answer: Answer, units: str) -> dict[str, Any] | None:
    """What comes next, as `now/` tells any device in these units; None before the first save."""
    return now_of(answer, units) if answer else None


def read_of(answer: Answer) -> dict[str, Read]:
    """Each standing firing test by its key."""
    return {test["key"]: _read(answer, test) for test in _standing(answer)}


def _read(answer: Answer, test: Mapping[str, Any]) -> Read:
    result, subject = answer["results"][test["key"]], f"test:{test['key']}"
    first, last = (_time(at) for at in result["window"])
    return Read(
        readings=len(test.get("readings", ())),
        window=(first, last) if first and last and first < last else None,
        cell=_cell(test, result),
        is_settled=result["settled"] in SETTLED,
        to_go_s=result["settle_to_go_s"],
        target_co2_pct=_band(result["target_co2_pct"]),
        cautions=[row for row in graver(answer) if row["subject"] == subject],
    )


def waiting_of(answer: Answer, analyser: Analyser | None) -> Waiting:
    """The last thing after which the analyser needs its time."""
    settle_s = analyser.settle_s if analyser is not None else SETTLE_S
    moves = [
        (at, _("the %(trim)s was moved") % {"trim": row["trim"]})
        for row in answer.get("adjustments", ())
        if "withdrawn_reason" not in row and (at := _time(row.get("at")))
    ]
    readings = [
        (at, _("the last reading"))
        for row in _standing(answer)
        for reading in row.get("readings", ())[-1:]
        if (at := _time(reading.get("at")))
    ]
    since, what = max(moves or readings, key=lambda pair: pair[0], default=(None, ""))
    return Waiting(since, what, settle_s)


def grid_of(answer: Answer) -> list[GridRow]:
    """High, low and high again of each burner, found and left; part rates between them."""
    rows: dict[tuple[int, int, float], dict[str, Any]] = {}
    lefts: dict[tuple[int, str], int] = {}
    tests = sorted(_standing(answer), key=lambda row: row.get("sequence", 0))
    for test in tests:
        phase = test["phase"]
        if phase not in ("as_found", "as_left"):
            continue
        burner, point, percent = test.get("burner") or 1, test["point"], test.get("percent") or 0.0
        burner = burner if isinstance(burner, int) else 1
        place = {"high": 0, "percent": 1, "low": 2}[point]
        if phase == "as_left" and point == "high":
            lefts[burner, point] = lefts.get((burner, point), 0) + 1
            place = 3 if lefts[burner, point] > 1 else 0
        rows.setdefault((burner, place, -percent), {})[phase] = test
    several = len({burner for burner, _place, _percent in rows}) > 1
    return [
        _grid_row(answer, burner if several else None, place, -percent, pair)
        for (burner, place, percent), pair in sorted(rows.items())
    ]


def _standing(answer: Answer) -> Iterator[Mapping[str, Any]]:
    for row in answer.get("tests", ()):
        if row["key"] in answer.get("results", {}):
            yield row


def _grid_row(
    answer: Answer, burner: int | None, place: int, percent: float, pair: Mapping[str, Any]
) -> GridRow:
    words = {0: _("High fire"), 2: _("Low fire"), 3: _("High fire again")}
    cells = {phase: _cell(test, answer["results"][test["key"]]) for phase, test in pair.items()}
    newest = pair.get("as_left") or pair["as_found"]
    limits = answer["results"][newest["key"]]
    return GridRow(
        burner=burner,
        text=words.get(place) or _("%(rate)g %% of rate") % {"rate": percent},
        target_co2_pct=_band(limits["target_co2_pct"]),
        accept_co2_pct=_band(limits["acceptance_co2_pct"]),
        found=cells.get("as_found"),
        left=cells.get("as_left"),
    )


def _cell(test: Mapping[str, Any], result: Mapping[str, Any]) -> Cell:
    co2, spread = result["co2_pct"]["value"], result["co2_pct"]["u"]
    mark = None if co2 is None else (co2, spread)
    found = test["phase"] == "as_found"
    why = result["settled_why"]
    return Cell(
        co2_pct=co2,
        u_co2_pct=spread,
        p_inside=result["p_inside"],
        verdict=str(TestResult.Verdict(result["verdict"]).label),
        settled=str(FiringTest.Settled(result["settled"]).label),
        why=str(FiringTest.Why(why).label) if why else "",
        co_ppm=(test.get("readings") or [{}])[-1].get("co_ppm"),
        bar=band_bar(
            target_co2_pct=_band(result["target_co2_pct"]),
            accept_co2_pct=_band(result["acceptance_co2_pct"]),
            found=mark if found else None,
            left=None if found else mark,
        ),
    )


def _band(pair: Any) -> tuple[float, float] | None:
    return (pair[0], pair[1]) if pair else None


def _time(text: Any) -> datetime | None:
    return parse_datetime(text) if isinstance(text, str) else None
