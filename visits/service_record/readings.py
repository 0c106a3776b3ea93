"""The readings of a service record: as found beside as left, each result with its expanded uncertainty."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from django.utils.translation import gettext as _

from fleet.units import MEASURES
from visits.models import Phase
from visits.service_record.words import Block, chance_text, heading

POINTS_ABREAST = 2
_POINT_ORDER = {"high": 0, "percent": 1, "low": 2}
# From the judged result with its uncertainty, else as read.
_ROWS = (
    "co2_pct",
    "o2_pct",
    "co_ppm",
    "co_air_free_ppm",
    "nox_ppm",
    "excess_air_pct",
    "flue_temp_c",
    "air_temp_c",
    "flow_temp_c",
    "return_temp_c",
    "inlet_pressure_mbar",
    "gas_rate_m3_h",
    "fan_rpm",
    "flame_signal_ua",
    "ambient_co_ppm",
    "efficiency_gross_pct",
    "efficiency_net_pct",
)


def readings_blocks(visit: dict[str, Any], units: str) -> Iterable[Block]:
    """Per burner and two firing points abreast, each quantity as found beside as left."""
    yield heading(_("As found and as left"))
    if not visit["tests"]:
        yield {"kind": "text", "text": _("No firing test was made on this visit.")}
        return
    burners: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for test in visit["tests"]:
        burners[test["burner"]].append(test)
    moved = {row["burner"] for row in visit["adjustments"]}
    for tests in burners.values():
        name = tests[0]["burner_name"] if len(burners) > 1 else ""
        points = _points(tests)
        for start in range(0, len(points), POINTS_ABREAST):
            some = points[start : start + POINTS_ABREAST]
            yield _readings_table(some, name, units, moved=tests[0]["burner_name"] in moved)
    yield {
        "kind": "text",
        "soft": True,
        "text": _(
            "± is the expanded uncertainty U at k = 2, about 95 % coverage, from the analyser's declared "
            "accuracy. Composition is of dry flue gas. Values without ± are as read. Efficiency is "
            "indicative until flue and return temperature are shown to be steady; casing losses are left out."
        ),
    }


Pair = dict[str, dict[str, Any]]


def _points(tests: Sequence[dict[str, Any]]) -> list[Pair]:
    """Per firing point the first test as found and the last as left, high fire first."""
    grouped: dict[tuple[str, float | None], Pair] = defaultdict(dict)
    for test in sorted(tests, key=lambda row: row["sequence"]):
        pair = grouped[test["point"], test["percent"]]
        if test["phase"] == Phase.AS_LEFT or test["phase"] not in pair:
            pair[test["phase"]] = test
    return [grouped[key] for key in sorted(grouped, key=lambda key: (_POINT_ORDER[key[0]], -(key[1] or 0.0)))]


def _readings_table(points: Sequence[Pair], burner: str, units: str, *, moved: bool) -> Block:
    columns = [(pair, phase) for pair in points for phase in (Phase.AS_FOUND, Phase.AS_LEFT)]
    tests = [pair.get(phase) for pair, phase in columns]
    rows = [
        [_quantity(name, units), *(_value(test, name, units) for test in tests)]
        for name in _ROWS
        if any(_known(test, name) is not None for test in tests)
    ]
    rows += [
        [label, *(words(test) for test in tests)]
        for label, words in (
            (_("That efficiency is"), _steadiness),
            (_("Target band of CO2 (vol %)"), _target),
            (_("Acceptance band of CO2 (vol %)"), _acceptance),
            (_("CO2 against acceptance"), _verdict),
            (_("Settled"), _settled),
        )
        if any(words(test) for test in tests)
    ]
    # A point that was not read again where nothing was moved was left as it was found.
    unread = "" if moved else _("as found")
    for row in rows:
        for place, (test, (pair, phase)) in enumerate(zip(tests, columns, strict=True), 1):
            if test is None:
                row[place] = unread if phase == Phase.AS_LEFT and pair else ""
            row[place] = row[place] or "–"
    return {
        "kind": "table",
        "caption": _("Burner {name}").format(name=burner) if burner else _("Readings and results"),
        "head": [_("Quantity"), *(_column(pair, phase) for pair, phase in columns)],
        "numeric": [False, *(True for _column_of in columns)],
        "rows": rows,
        "whole": True,
    }


def _column(pair: Pair, phase: str) -> str:
    return f"{_point_words(pair)}, {_('as found') if phase == Phase.AS_FOUND else _('as left')}"


def _point_words(pair: Pair) -> str:
    test = next(iter(pair.values()))
    return {"high": _("High fire"), "low": _("Low fire")}.get(test["point"], f"{test['percent'] or 0:g} %")


def _quantity(name: str, units: str) -> str:
    measure = MEASURES[name]
    unit = measure.unit(units)
    return f"{measure.label} ({unit})".replace(" %", "\u00a0%") if unit else str(measure.label)


def _known(test: dict[str, Any] | None, name: str) -> tuple[float, float | None] | None:
    """A value and its standard uncertainty: as judged, else as read."""
    if test is None:
        return None
    judged = (test["results"] or {}).get("quantities", {}).get(name)
    if judged is not None:
        return judged["value"], judged["u"]
    read = test["measured"].get(name)
    return None if read is None else (read, None)


def _value(test: dict[str, Any] | None, name: str, units: str) -> str:
    known = _known(test, name)
    if known is None:
        return ""
    measure, (value, u) = MEASURES[name], known
    text = measure.text(value, units)
    return text if u is None else f"{text} ± {measure.spread_text(2 * u, units)}"


def _steadiness(test: dict[str, Any] | None) -> str:
    """Nothing where the test has no efficiency, or the record is older than the question."""
    quantities = ((test and test["results"]) or {}).get("quantities", {})
    if test is None or "indicative" not in test or "efficiency_gross_pct" not in quantities:
        return ""
    return _("indicative") if test["indicative"] else _("of a steady boiler")


def _target(test: dict[str, Any] | None) -> str:
    return _band(test, "target_co2_pct")


def _acceptance(test: dict[str, Any] | None) -> str:
    return _band(test, "accept_co2_pct")


def _band(test: dict[str, Any] | None, name: str) -> str:
    band = ((test and test["results"]) or {}).get(name)
    return f"{band[0]:.2f} – {band[1]:.2f}" if band else ""


def _verdict(test: dict[str, Any] | None) -> str:
    result = test and test["results"]
    if not result:
        return ""
    share = chance_text(result["p_inside"])
    return f"{result['verdict']} ({share})" if share else str(result["verdict"])


def _settled(test: dict[str, Any] | None) -> str:
    return str(test["settled"]) if test else ""


def co2_lines(visit: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Per burner and firing point: what it is called, CO2 as found and as left, dry vol %."""
    burners: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for test in visit["tests"]:
        burners[test["burner"]].append(test)
    lines = []
    for tests in burners.values():
        for pair in _points(tests):
            words = _point_words(pair)
            name = f"{tests[0]['burner_name']}, {words}" if len(burners) > 1 else words
            found, left = (
                _value(pair.get(phase), "co2_pct", "si") for phase in (Phase.AS_FOUND, Phase.AS_LEFT)
            )
            lines.append((name, found or "–", left or "–"))
    return lines
