"""Rows of the record built from a merged body: unsaved model instances, ready to be judged and written."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from common.unsaved import unsaved
from fleet.models import AnalyserChannel, Burner, Point
from visits.models import (
    Adjustment,
    FiringTest,
    Phase,
    PlantSetting,
    TemporaryChange,
    Visit,
    VisitItem,
)
from visits.payload import AdjustmentIn, TestIn, VisitIn
from visits.saving.references import Instrument, Place
from visits.settling import SETTLE_S, Before, settled_values


@dataclass(frozen=True)
class Rows:
    """All rows of one visit."""

    tests: list[FiringTest]
    adjustments: list[Adjustment]
    changes: list[TemporaryChange]
    settings: list[PlantSetting]
    items: list[VisitItem]
    parts: list[str]


def rows_build(*, visit: Visit, body: VisitIn, place: Place, instrument: Instrument) -> Rows:
    """The rows that the merged body describes."""
    befores = _befores(body, place, timed_alone=visit.source == Visit.Source.REST)
    tests = [
        _test(visit, row, order, place, instrument, befores.get(row.key, Before()))
        for order, row in enumerate(body.tests)
        if row.phase is not None
    ]
    settled = {test.key: test for test in tests}
    return Rows(
        tests=tests,
        adjustments=[_adjustment(visit, row, place, settled) for row in body.adjustments if row.trim],
        changes=[
            TemporaryChange(
                visit=visit,
                key=row.key,
                withdrawn_reason=row.withdrawn_reason or "",
                what=row.what,
                was=row.was or "",
                set_to=row.set_to or "",
                changed_at=row.changed_at,
                put_back_at=row.put_back_at,
                reason=row.reason or "",
            )
            for row in body.temporary_changes
            if row.what
        ],
        settings=[
            PlantSetting(
                visit=visit,
                key=row.key,
                withdrawn_reason=row.withdrawn_reason or "",
                unit=row.unit,
                setting=row.setting,
                before=row.before or "",
                after=row.after or "",
                reason=row.reason or "",
            )
            for row in body.plant_settings
            if row.unit and row.setting
        ],
        items=[
            VisitItem(
                visit=visit,
                key=row.key,
                withdrawn_reason=row.withdrawn_reason or "",
                code=row.code,
                state=row.state,
                number=row.number,
                unit=row.unit or "",
                choice=row.choice or "",
                reason=row.reason or "",
                note=row.note or "",
                at=row.at,
            )
            for row in body.items
            if row.code and row.state
        ],
        parts=[row.part for row in body.parts if row.part and not row.withdrawn_reason],
    )


def _befores(body: VisitIn, place: Place, *, timed_alone: bool) -> dict[str, Before]:
    """What came shortly before each test, by its key.

    A reading that was typed alone into the browser's form has the time of the save, which cannot tell: there
    only tests of several readings count.
    """
    moves: dict[Burner | None, list[tuple[datetime, str]]] = defaultdict(list)
    for move in body.adjustments:
        if move.at is not None and move.withdrawn_reason is None:
            moves[place.burner(move.burner)].append((move.at, move.before_test or ""))
    timed = [
        (row, times)
        for row in body.tests
        if (times := {reading.at for reading in row.readings if reading.at is not None})
        and (timed_alone or len(times) > 1)
    ]
    ends = [
        (max(times), (place.burner(row.burner), row.point, row.percent))
        for row, times in timed
        if row.withdrawn_reason is None
    ]
    ends.sort(key=lambda pair: pair[0])
    befores = {}
    for row, times in timed:
        here, first, last = (place.burner(row.burner), row.point, row.percent), min(times), max(times)
        own = [at for at, until in moves[here[0]] if at < last and until != row.key]
        elsewhere = next((end for end, where in reversed(ends) if end <= first and where != here), None)
        befores[row.key] = Before(max(own, default=None), elsewhere)
    return befores


def _test(
    visit: Visit, row: TestIn, order: int, place: Place, instrument: Instrument, before: Before
) -> FiringTest:
    settled = settled_values(
        row.readings,
        stated=row.settled_stated,
        settle_s=instrument.analyser.settle_s if instrument.analyser else SETTLE_S,
        resolution={name: channel.resolution or 0.0 for name, channel in instrument.channels.items()},
        before=before,
    )
    return unsaved(
        _TEST,
        {"visit": visit, "burner": place.burner(row.burner)},
        {
            "key": row.key,
            "withdrawn_reason": row.withdrawn_reason or "",
            "point": row.point or Point.HIGH,
            "percent": row.percent if row.point == "percent" else None,
            "phase": row.phase or Phase.WORKING,
            "sequence": order if row.sequence is None else row.sequence,
            "observed_at": settled.at,
            "window_from_at": settled.window_from,
            "settled": settled.settled,
            "settled_why": settled.why,
            "settle_to_go_s": settled.to_go_s,
            "since_change_s": settled.since_change_s,
            "probe_out": settled.probe_out,
            "thermally_steady": settled.thermally_steady,
            "began_at": settled.began_at,
            "forced_at": row.forced_at,
            "fuel": row.fuel or visit.fuel,
            "co2_source": row.co2_source or _co2_source(instrument),
            "moved_before": row.moved_before,
            "co_sustained_ppm": settled.co_sustained_ppm,
            "co_peak_ppm": settled.co_peak_ppm,
            **settled.values,
            **{f"u_{name}": u for name, u in settled.u.items()},
        },
    )


_TEST = FiringTest()


def _co2_source(instrument: Instrument) -> str:
    """CO2 counts as derived unless the analyser's channel is known to measure it."""
    channel = instrument.channels.get(AnalyserChannel.Quantity.CO2_PCT)
    if channel is not None and channel.source == AnalyserChannel.Source.MEASURED:
        return FiringTest.Source.MEASURED
    return FiringTest.Source.DERIVED


def _adjustment(visit: Visit, row: AdjustmentIn, place: Place, tests: dict[str, FiringTest]) -> Adjustment:
    before, after = tests.get(row.before_test or ""), tests.get(row.after_test or "")
    return Adjustment(
        visit=visit,
        key=row.key,
        withdrawn_reason=row.withdrawn_reason or "",
        burner=place.burner(row.burner),
        trim=row.trim or "",
        at=row.at,
        direction=row.direction or "",
        turns=row.turns,
        marks=row.marks,
        before_test=row.before_test or "",
        after_test=row.after_test or "",
        before_co2_pct=before.co2_pct if before else None,
        after_co2_pct=after.co2_pct if after else None,
    )
