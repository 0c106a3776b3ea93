"""The rules of the work itself: its order, the moves, settling, and whether the rate was the one named."""

from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise

from combustion.trims import HIGH_FIRE_SHARE
from fleet.models import Opening, Point
from visits.judging.case import Case, Draft
from visits.judging.health import SINGLE_POINT
from visits.judging.judged import Judged, at_test, place_name
from visits.judging.order import moved_since, read_after_move, standing_moves
from visits.models import FiringTest, Phase, Visit, VisitItem
from visits.settling import SETTLE_S

# The browser's form stamps rows when it is saved, and old records carry days: neither tells how long one
# waited.
_TIMED = frozenset({Visit.Source.REST})


def order_of_work(judged: Judged) -> Iterator[Draft]:
    """Both points as found before any trim moves; as left the last settled ones with no trim moved since."""
    case = judged.case
    found: dict[tuple[int, str], FiringTest] = {}
    left: dict[tuple[int, str], FiringTest] = {}
    for _, test in judged.tests:
        if test.phase == Phase.AS_FOUND:
            found[test.burner_id, test.point] = test
            if read_after_move(case, test):
                then = "It is corrected by the change at high fire." if test.inferred else _NOT_FOUND
                yield at_test(test, "read_after_move", rests_on={"then": then})
            yield from _read_after_opening(case, test)
        elif test.phase == Phase.AS_LEFT:
            left[test.burner_id, test.point] = test
    for (burner, point), test in found.items():
        if case.visit.is_closed and (burner, point) not in left and any(standing_moves(case, burner)):
            where = _same_place(test, Phase.AS_LEFT)
            subject = f"burner:{test.burner.position}:{point}"
            yield Draft("as_left_missing", subject, test.burner, rests_on={"place": where})
    for test in left.values():
        if moved_since(case, test):
            yield at_test(test, "moved_after_as_left")
    yield from _not_read_as_found(case, found)


_NOT_FOUND = "It does not count as found."


def _read_after_opening(case: Case, test: FiringTest) -> Iterator[Draft]:
    """An as-found test read after something of the gasway had been opened or cleaned, by the items' times.

    Items do not say of which burner: an appliance with several is not asked. Nor is a reading that was typed
    alone into the browser's form: it has the time of its save.
    """
    began = test.began_at or test.observed_at
    timed = case.visit.source in _TIMED or test.settled == FiringTest.Settled.STREAMED
    if began is None or not timed or len(case.burner_ids) > 1:
        return
    opened = sorted(
        (answer.at, case.items[answer.code].text)
        for answer in case.answers
        if answer.code in case.items
        and case.items[answer.code].opens == Opening.GASWAY
        and answer.state == VisitItem.State.DONE
        and not answer.withdrawn_reason
        and answer.at is not None
        and answer.at < began
    )
    if opened:
        yield at_test(test, "read_after_opening", rests_on={"item": opened[0][1]})


def _not_read_as_found(case: Case, found: dict[tuple[int, str], FiringTest]) -> Iterator[Draft]:
    """A trim moved at a burner of which a point was never read as found. Old records are not asked."""
    if case.visit.source == Visit.Source.IMPORT:
        return
    points = [Point.HIGH] if case.appliance.model.ratio_control in SINGLE_POINT else [Point.HIGH, Point.LOW]
    moved = {move.burner_id: move.burner for move in case.adjustments if not move.withdrawn_reason}
    for burner in moved.values():
        for point in points:
            if (burner.pk, point) not in found:
                missing = FiringTest(burner=burner, point=point, phase=Phase.AS_FOUND)
                evidence = {"place": place_name(missing)}
                yield Draft(
                    "as_found_missing", f"burner:{burner.position}:{point}", burner, rests_on=evidence
                )


def _same_place(test: FiringTest, phase: str) -> str:
    """The same point in another phase, for naming what is missing."""
    return place_name(
        FiringTest(burner=test.burner, point=test.point, percent=test.percent, phase=phase, key=test.key)
    )


def moves(judged: Judged) -> Iterator[Draft]:
    """What is odd about single moves, and a move before the last one's answer could be read."""
    case = judged.case
    for move in case.adjustments:
        if move.withdrawn_reason:
            continue
        subject, evidence = f"adjustment:{move.key}", {"trim": move.trim}
        if not move.direction and case.visit.source != Visit.Source.IMPORT:
            yield Draft("direction_missing", subject, move.burner, rests_on=evidence)
        if case.trims and move.trim not in case.trims:
            yield Draft("trim_not_on_model", subject, move.burner, rests_on=evidence)
    if case.visit.source not in _TIMED:
        return
    wait_s = settle_s_of(case)
    for burner_id in {move.burner_id for move in case.adjustments}:
        timed = sorted(
            ((move.at, move) for move in standing_moves(case, burner_id) if move.at is not None),
            key=lambda pair: pair[0],
        )
        for (before_at, before), (at, move) in pairwise(timed):
            gap_s = (at - before_at).total_seconds()
            if gap_s < wait_s:
                yield Draft(
                    "moved_too_soon",
                    f"adjustment:{move.key}",
                    move.burner,
                    value=gap_s,
                    limit=wait_s,
                    unit="s",
                    rests_on={"trim": move.trim, "earlier": before.key},
                )


def settle_s_of(case: Case) -> float:
    """What the visit's analyser takes to settle [s]."""
    analyser = case.visit.analyser
    return analyser.settle_s if analyser is not None else SETTLE_S


_WHY = {
    FiringTest.Why.TOO_SOON: "The analyser had not had its time since the last change.",
    FiringTest.Why.TOO_FEW: "There are too few readings to tell.",
    FiringTest.Why.SLOPING: "The reading still moved.",
    FiringTest.Why.SCATTERED: "The reading scattered more than the analyser resolves.",
}


def settled(judged: Judged) -> Iterator[Draft]:
    """Readings that were not settled, or that nobody said were; and a probe that fell out."""
    wait_s = settle_s_of(judged.case)
    for _, test in judged.tests:
        if test.settled in (FiringTest.Settled.UNKNOWN, FiringTest.Settled.NOT_SETTLED):
            why = _WHY.get(FiringTest.Why(test.settled_why)) if test.settled_why else None
            evidence = {"why": why or "Nobody stated it as settled.", "reason": test.settled_why}
            too_soon = test.settled_why == FiringTest.Why.TOO_SOON
            value = test.since_change_s if too_soon else None
            limit = wait_s if too_soon else None
            yield at_test(test, "not_settled", value=value, limit=limit, unit="s", rests_on=evidence)
        if test.probe_out:
            yield at_test(test, "probe_out")


def forced_rate(judged: Judged) -> Iterator[Draft]:
    """A rate forced for longer than the control holds it, where no fan speed shows that it held."""
    case = judged.case
    limit_s = case.appliance.model.forced_rate_s
    for _, test in judged.tests:
        since = _forced_since(case, test)
        if since is None or test.observed_at is None:
            continue
        held_s = (test.observed_at - since).total_seconds()
        if held_s > limit_s and not _fan_proves(case, test):
            yield at_test(test, "forced_rate_ran_out", value=held_s / 60, limit=limit_s / 60, unit="min")


def _forced_since(case: Case, test: FiringTest) -> datetime | None:
    """When the rate was forced: as said with the test or as a change, else the stream's first reading."""
    if test.observed_at is None or case.visit.source == Visit.Source.IMPORT:
        return None
    at = test.observed_at
    forced = [
        row.changed_at
        for row in case.changes
        if row.changed_at is not None
        and not row.withdrawn_reason
        and row.what.casefold().startswith("forced rate")
        and row.changed_at <= at
        and (row.put_back_at is None or row.put_back_at >= at)
    ]
    if test.forced_at is not None:
        return test.forced_at
    if forced and case.visit.source in _TIMED:
        return max(forced)
    return test.began_at


def _high_rpm(case: Case, test: FiringTest) -> float | None:
    return test.burner.fan_high_rpm or case.appliance.model.fan_high_rpm


def _fan_proves(case: Case, test: FiringTest) -> bool:
    high = _high_rpm(case, test)
    return (
        test.point == Point.HIGH
        and high is not None
        and test.fan_rpm is not None
        and test.fan_rpm >= HIGH_FIRE_SHARE * high
    )


def rate_proved(judged: Judged) -> Iterator[Draft]:
    """High fire is high fire at 95 % of the high fan speed or more."""
    case = judged.case
    for _, test in judged.tests:
        high = _high_rpm(case, test)
        if test.point != Point.HIGH or high is None:
            continue
        if test.fan_rpm is not None and test.fan_rpm < HIGH_FIRE_SHARE * high:
            limit = HIGH_FIRE_SHARE * high
            yield at_test(test, "rate_not_proved", value=test.fan_rpm, limit=limit, unit="1/min")
        elif test.fan_rpm is None and case.visit.source != Visit.Source.IMPORT:
            yield at_test(test, "fan_not_read", limit=HIGH_FIRE_SHARE * high, unit="1/min")
