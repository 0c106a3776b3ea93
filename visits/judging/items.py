"""Rules on the items of the list, on tightness, and on the plant's settings. Pure: a case in, drafts out.

Bad news never refuses the record: an unknown code, a value outside its limits, an answer of another kind are
kept and said.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from fleet.models import Opening, ServiceItem
from visits.judging.case import Case, Draft
from visits.models import Outcome, Phase, Visit, VisitItem

_SHOWN = 12  # codes named in one sentence
_OPENED_WORDS = {Opening.GASWAY: "The gasway", Opening.TEST_POINT: "A pressure test point"}


def item_findings(case: Case) -> Iterator[Draft]:
    """Everything the items of one case show. Imported visits are not asked what nobody asked then."""
    if case.visit.source == Visit.Source.IMPORT:
        return
    answers = [answer for answer in case.answers if not answer.withdrawn_reason]
    for answer in answers:
        yield from _answer(case, answer)
    yield from _tightness(case, answers)
    yield from _unanswered(case, answers)


def put_back_findings(case: Case) -> Iterator[Draft]:
    """Changes left without a reason, and settings of the plant that differ unexplained."""
    if not case.visit.is_closed:
        return
    if case.visit.outcome == Outcome.COMPLETED:
        for change in case.changes:
            if change.put_back_at is None and not change.withdrawn_reason and not change.reason:
                yield Draft("put_back_reason_missing", f"change:{change.key}", rests_on={"what": change.what})
    for row in case.settings:
        if row.differs and not row.withdrawn_reason and not row.reason:
            evidence = {"unit_name": row.unit, "setting": row.setting}
            evidence |= {"before": row.before, "after": row.after}
            yield Draft("plant_setting_changed", f"setting:{row.key}", rests_on=evidence)


def _answer(case: Case, answer: VisitItem) -> Iterator[Draft]:
    item = case.items.get(answer.code)
    if item is None:
        if case.items:
            yield Draft("item_unknown", f"item:{answer.key}", rests_on={"code": answer.code})
        return
    if answer.state != VisitItem.State.DONE:
        yield from _not_done(case, item, answer)
    elif item.answer == ServiceItem.Answer.NUMBER:
        yield from _number(case, item, answer)
    elif item.answer == ServiceItem.Answer.CHOICE:
        yield from _choice(item, answer)


def _not_done(case: Case, item: ServiceItem, answer: VisitItem) -> Iterator[Draft]:
    left = case.visit.is_closed and case.visit.outcome == Outcome.COMPLETED
    if answer.state == VisitItem.State.NOT_DONE and item.required and left:
        yield _of(item, answer, "item_not_done")
    elif not answer.reason:
        yield _of(item, answer, "item_reason_missing", answer=answer.get_state_display())


def _number(case: Case, item: ServiceItem, answer: VisitItem) -> Iterator[Draft]:
    value = answer.number
    if value is None:
        yield _of(item, answer, "item_unreadable", detail="done, and no number came with it")
        return
    if answer.unit and answer.unit != item.unit:
        detail = f"{value:g} came in «{answer.unit}», the list has «{item.unit}»: not judged"
        yield _of(item, answer, "item_unreadable", detail=detail)
        return
    if item.safety_quantity:
        yield from _safety_level(case, item, answer, value)
        return
    limit = item.low if item.low is not None and value < item.low else None
    limit = item.high if item.high is not None and value > item.high else limit
    if limit is not None:
        practice = item.mark == ServiceItem.Mark.PRACTICE
        code = "item_outside_practice" if practice else "item_outside"
        yield _of(item, answer, code, value=value, limit=limit, unit=item.unit)


def _safety_level(case: Case, item: ServiceItem, answer: VisitItem, value: float) -> Iterator[Draft]:
    """A number that has safety levels: the graver one it reaches."""
    for level in ("make_safe", "investigate"):
        limit = case.limits.get((item.safety_quantity, level))
        if limit is not None and value >= limit.value:
            yield Draft(
                f"ambient_co_{level}",
                f"item:{answer.key}",
                value=value,
                limit=limit.value,
                unit=item.unit,
                rests_on={"source": limit.source, "mark": limit.mark, "item": item.text},
            )
            return


def _choice(item: ServiceItem, answer: VisitItem) -> Iterator[Draft]:
    meaning = item.meaning_of(answer.choice)
    if meaning is None:
        detail = f"«{answer.choice}» is none of its choices" if answer.choice else "done, and nothing chosen"
        yield _of(item, answer, "item_unreadable", detail=detail)
    elif meaning != "good":
        words = next(row["text"] for row in item.choices if row["code"] == answer.choice)
        yield _of(item, answer, "item_failed" if meaning == "act" else "item_attention", answer=words)


def _tightness(case: Case, answers: Sequence[VisitItem]) -> Iterator[Draft]:
    """What was opened must be proved tight before it is fired again; said from the first test as left on."""
    fired_again = any(test.phase == Phase.AS_LEFT and not test.withdrawn_reason for test in case.tests)
    if not (case.visit.is_closed or fired_again):
        return
    done = [(case.items[row.code], row) for row in answers if row.code in case.items and row.state == "done"]
    for opening in Opening:
        by = [item.text for item, _ in done if item.opens == opening]
        if opening == Opening.GASWAY:
            by += [f"{part} fitted" for part in case.parts]
        proved = any(item.proves_tight == opening and _is_good(item, row) for item, row in done)
        if by and not proved:
            evidence = {"opened": _OPENED_WORDS[opening], "by": _listed(by)}
            yield Draft("tightness_not_confirmed", opening.value, rests_on=evidence)


def _is_good(item: ServiceItem, answer: VisitItem) -> bool:
    if item.answer == ServiceItem.Answer.CHOICE:
        return item.meaning_of(answer.choice) == "good"
    return item.answer == ServiceItem.Answer.TICK


def _unanswered(case: Case, answers: Sequence[VisitItem]) -> Iterator[Draft]:
    """One note for all of them: the list is long, and a visit may have been noted another way."""
    if case.visit.outcome != Outcome.COMPLETED:
        return
    answered = {answer.code for answer in answers}
    missed = [row.code for row in case.items.values() if row.required and row.code not in answered]
    if missed:
        yield Draft(
            "items_unanswered", value=float(len(missed)), rests_on={"items": _listed(missed), "codes": missed}
        )


def _listed(words: Sequence[str]) -> str:
    more = len(words) - _SHOWN
    return ", ".join(words[:_SHOWN]) + (f" and {more} more" if more > 0 else "")


def _of(item: ServiceItem, row: VisitItem, code: str, **more: Any) -> Draft:
    """A finding on one answer; what is no column of a finding becomes its evidence."""
    columns = {name: more.pop(name) for name in ("value", "limit", "unit") if name in more}
    evidence = {"item": item.text, "code": item.code, "source": item.source, "mark": item.mark}
    evidence |= {"reason": row.reason, "note": row.note, **more}
    return Draft(code, f"item:{row.key}", rests_on=evidence, **columns)
