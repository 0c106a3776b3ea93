"""What the technician needs now, in one small object, made from the answer to the last save.

The order of work is the design's: record settings, as found at high and low, isolate and clean, prove
tightness, high, low and high again as left, put back, see it run in normal control, close.
"""

from collections.abc import Iterator, Mapping, Sequence
from types import SimpleNamespace
from typing import Any

from django.utils.translation import gettext as _

from common.canonical import unpacked
from people.models import Units
from visits.advising.words import advice_text
from visits.judging.catalogue import sentence
from visits.judging.engine import ENGINE_VERSION
from visits.models import Visit, VisitRecord
from visits.saving.answer import CAUTION
from visits.saving.stored import visit_answer

Answer = Mapping[str, Any]
SETTLED = frozenset({"stated", "streamed"})
_MAKE_SAFE, _ACT = "make_safe", "act"
_CO = frozenset({"co_investigate", "co_over_maker", "ambient_co_investigate"})
_MOVING = frozenset({"move_trim", "pressure_first", "gas_rate_first", "no_response"})


def visit_now(visit: Visit, units: str = Units.SI) -> dict[str, Any]:
    """What comes next at this visit. One query where its last save was judged by this engine, else more."""
    record = VisitRecord.objects.filter(visit=visit, current=True).first()
    return now_of(_told(visit, record) or visit_answer(visit, record), units)


def _told(visit: Visit, record: VisitRecord | None) -> dict[str, Any] | None:
    """The answer that the newest save was given, whichever device made it."""
    if record is None or not record.answers:
        return None
    for kept in unpacked(record.answers).values():
        answer: dict[str, Any] = kept["answer"]
        versions = {result["engine_version"] for result in answer["results"].values()}
        if answer["revision"] == visit.revision and versions <= {ENGINE_VERSION}:
            return answer
    return None


def now_of(answer: Answer, units: str = Units.SI) -> dict[str, Any]:
    """The small object, from the answer to a save, its sentences in a system of units. Pure.

    Numbers stay in SI. Cautions stand first. `settled` is of the newest test, None where nothing was read;
    `to_go_s` counts from its last reading.
    """
    if units != Units.SI:
        answer = _told_in(answer, units)
    newest = _newest(answer)
    result = answer["results"].get(newest["key"], {}) if newest else {}
    co2 = result.get("co2_pct") or {}
    step = _step(answer, newest, result)
    return {
        "cautions": _cautions(answer),
        "step": step,
        "do": _do(answer, step, result),
        "settled": result["settled"] in SETTLED if result else None,
        "to_go_s": result.get("settle_to_go_s"),
        "why_not_settled": result.get("settled_why") or None,
        "reading": {
            "test": newest["key"],
            "burner": newest.get("burner"),
            "point": newest["point"],
            "phase": newest["phase"],
            "co2_pct": co2.get("value"),
            "u_co2_pct": co2.get("u"),
            "target_co2_pct": result.get("target_co2_pct"),
            "acceptance_co2_pct": result.get("acceptance_co2_pct"),
            "p_inside": result.get("p_inside"),
            "verdict": result.get("verdict"),
        }
        if newest and result
        else None,
        "advice": answer["advice"],
        "not_put_back": [row["what"] for row in answer["not_put_back"]],
        "revision": answer["revision"],
        "closed": answer["closed"],
        "caution": CAUTION,
    }


def _told_in(answer: Answer, units: str) -> Answer:
    """The answer with the sentences of its findings and its advice in a system of units."""
    findings = [{**row, "sentence": sentence(SimpleNamespace(**row), units)} for row in answer["findings"]]
    advice = [{**row, "text": advice_text(row, units)} for row in answer["advice"]]
    return {**answer, "findings": findings, "advice": advice}


def _tests(answer: Answer) -> list[dict[str, Any]]:
    """Standing tests in sequence."""
    standing = [row for row in answer.get("tests", ()) if row["key"] in answer["results"]]
    places = {row["key"]: place for place, row in enumerate(standing)}
    return sorted(standing, key=lambda row: (row.get("sequence", places[row["key"]]), places[row["key"]]))


def _newest(answer: Answer) -> dict[str, Any] | None:
    return next(reversed(_tests(answer)), None)


def _cautions(answer: Answer) -> list[dict[str, str]]:
    return [{name: row[name] for name in ("code", "sentence", "what_to_do")} for row in graver(answer)]


def graver(answer: Answer) -> list[dict[str, Any]]:
    """The findings that stand before everything: make safe, then CO to be investigated."""
    make_safe = [row for row in answer["findings"] if row["severity"] == _MAKE_SAFE]
    co = [row for row in answer["findings"] if row["severity"] == _ACT and row["code"] in _CO]
    return [*make_safe, *co]


def _step(answer: Answer, newest: dict[str, Any] | None, result: Mapping[str, Any]) -> dict[str, Any]:
    """The next step in the order of work."""
    if answer.get("make_safe"):
        return _named("make_safe")
    if answer["closed"]:
        return _named("closed")
    if newest is not None and result.get("settled") == "not_settled":
        return _named("wait", newest)
    for code, test in _open_steps(answer):
        return _named(code, test)
    if answer["not_put_back"]:
        return _named("put_back")
    return _named("close")


def _open_steps(answer: Answer) -> Iterator[tuple[str, dict[str, Any]]]:
    tests = _tests(answer)
    moves = [row for row in answer.get("adjustments", ()) if not row.get("withdrawn_reason")]
    burners = list(dict.fromkeys(row.get("burner") for row in (*tests, *moves))) or [None]
    stale = {row["subject"] for row in answer["findings"] if row["code"] == "moved_after_as_left"}
    for burner in burners:
        own = [row for row in tests if row.get("burner") == burner]
        moved = any(row.get("burner") == burner for row in moves)
        for point in ("high", "low"):
            if not moved and not _read(own, point, "as_found"):
                yield "as_found", {"burner": burner, "point": point, "phase": "as_found"}
    if any(row["code"] in _MOVING for row in answer["advice"]):
        burner = next(row.get("burner") for row in answer["advice"] if row["code"] in _MOVING)
        yield "adjust", {"burner": burner, "point": None, "phase": "working"}
    for burner in burners:
        own = [row for row in tests if row.get("burner") == burner]
        left = [row for row in own if row["phase"] == "as_left" and f"test:{row['key']}" not in stale]
        if not left and not any(row.get("burner") == burner for row in moves):
            continue
        order = [row["point"] for row in left]
        for place, point in enumerate(("high", "low", "high")):
            if point not in order[order.index("low") if place == 2 else 0 :]:
                yield "as_left", {"burner": burner, "point": point, "phase": "as_left"}


def _read(tests: Sequence[dict[str, Any]], point: str, phase: str) -> bool:
    return any(row["point"] == point and row["phase"] == phase for row in tests)


def _named(code: str, test: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """A step with its place and its caution."""
    words, caution = _words()[code]
    place = {name: test.get(name) if test else None for name in ("burner", "point", "phase")}
    return {"code": code, "text": words, **place, "caution": caution}


def _words() -> dict[str, tuple[str, str]]:
    case_closed = _("Case closed. Your CO alarm on. Follow the maker's instructions and local codes.")
    opened = _(
        "Before anything is opened: isolate gas and electricity, prove it, let it cool. What was disturbed "
        "is tightness-tested before it fires again."
    )
    return {
        "make_safe": (_("Make safe and leave it off."), _("Numbers come after. Follow local procedure.")),
        "closed": (_("The visit is closed."), ""),
        "wait": (_("Wait until the reading has settled, and read again."), case_closed),
        "as_found": (
            _("Read this point as found, before any trim moves or anything is cleaned."),
            case_closed,
        ),
        "adjust": (
            _("Look at pressure and gas rate, then follow the advice: one step, wait, read."),
            case_closed,
        ),
        "as_left": (_("Read this point as left: high, low and high again, no trim moved between."), opened),
        "put_back": (_("Put back what was changed for the test, and see it run in normal control."), ""),
        "close": (
            _("Seal trims and test points, see it run in normal control, and close the visit."),
            opened,
        ),
    }


def _do(answer: Answer, step: Mapping[str, Any], result: Mapping[str, Any]) -> str:
    """One sentence: what to do next."""
    if step["code"] == "make_safe":
        return str(answer["make_safe"])
    if step["code"] == "wait" and result.get("settle_to_go_s"):
        return _("Wait about %(seconds)d s, then read again.") % {"seconds": round(result["settle_to_go_s"])}
    if step["code"] == "adjust":
        return str(next(row["text"] for row in answer["advice"] if row["code"] in _MOVING))
    return str(step["text"])
