"""The rules: each looks at one case and says what it finds. The order here is the order on the page."""

from collections.abc import Callable, Iterator, Sequence
from datetime import timedelta
from math import nextafter

from combustion.balance import AIR_O2_PCT, CO_LIMIT_PPM
from combustion.fuels import FUELS
from common.constraints import MEASURED_LIMIT
from fleet.models import AnalyserChannel, Point, SafetyLimit
from visits.judging.case import Draft, Limits
from visits.judging.health import standing_tests
from visits.judging.items import item_findings, put_back_findings
from visits.judging.judged import Judged, at_test
from visits.judging.work import forced_rate, moves, order_of_work, rate_proved, settled
from visits.models import FiringTest, Outcome, Phase, Visit

CLOCK_TOLERANCE = timedelta(minutes=5)
P_OUTSIDE = 0.5  # less than this inside, and the point counts as outside
# Above this the probe stands in air that little flue gas reached, and a sensor's zero would be blown up to
# hundreds of ppm air-free. Assumed, no source.
FLUE_GAS_O2_PCT = 18.0
MOST_HELD = nextafter(MEASURED_LIMIT, 0.0)
FUEL_LINE_U = 3.0  # standard uncertainties off the line before it is said


Level = tuple[str, str, str, float | None]
Rule = Callable[[Judged], Iterator[Draft]]


def findings_of(judged: Judged) -> list[Draft]:
    """Everything the rules find in a case, each (code, subject) once."""
    unique: dict[tuple[str, str], Draft] = {}
    for rule in RULES:
        for draft in rule(judged):
            unique.setdefault((draft.code, draft.subject), draft)
    return list(unique.values())


def _co(judged: Judged) -> Iterator[Draft]:
    """CO against the levels in force: what settled, or what stood for a minute before, whichever is more.

    Air-free where the air ratio is known and the probe is in flue gas, else as measured, which is less. A
    peak that did not stand is only noted.
    """
    for place, test in judged.tests:
        if test.co_ppm is None:
            continue
        co = max(test.co_ppm, test.co_sustained_ppm or 0.0)
        peak = max(co, test.co_peak_ppm or 0.0)
        channel = judged.case.channels.get(AnalyserChannel.Quantity.CO_PPM)
        if channel is not None and channel.range_high is not None and peak >= channel.range_high:
            yield at_test(test, "co_over_range", value=peak, limit=channel.range_high, unit="ppm")
        found = list(_graver_of_each(test, judged.case.limits, _co_levels(judged, place, test, co)))
        yield from found
        if (
            not found
            and peak > co
            and any(_graver_of_each(test, judged.case.limits, _co_levels(judged, place, test, peak)))
        ):
            yield at_test(test, "co_spike", value=peak, unit="ppm")
        spec = judged.case.spec_for(test)
        if spec is not None and spec.co_max_ppm is not None and co > spec.co_max_ppm:
            source = {"source": spec.source}
            yield at_test(test, "co_over_maker", value=co, limit=spec.co_max_ppm, unit="ppm", rests_on=source)


def _co_levels(judged: Judged, place: int, test: FiringTest, co: float) -> list[Level]:
    """A CO reading on every basis that limits are given on: quantity, its name, unit and value.

    An analyser's bias that is taken off makes CO look worse or the same, never better: a make-safe reading
    stands as it was taken.
    """
    o2, air_free = judged.value("o2_pct", place), judged.value("co_air_free_ppm", place)
    ratio = judged.value("co_co2_ratio", place)
    more = (co / test.co_ppm if test.co_ppm else 1.0) * _more_as_read(judged, place, test)
    in_flue_gas = air_free is not None and o2 is not None and o2 <= FLUE_GAS_O2_PCT
    return [
        ("co_air_free_ppm", "CO air-free", "ppm", _held(air_free * more) if in_flue_gas and air_free else co),
        ("co_ppm", "CO", "ppm", co),
        ("co_co2_ratio", "CO/CO2", "", _held(ratio * more) if in_flue_gas and ratio is not None else None),
    ]


def _held(value: float) -> float:
    """Read close to plain air it grows without bound. The level is reached as far as a column tells it."""
    return min(value, MOST_HELD)


def _more_as_read(judged: Judged, place: int, test: FiringTest) -> float:
    """How many times as much CO, free of air, the reading as taken says; 1 at the least."""
    period = judged.case.period
    o2, co2 = judged.value("o2_pct", place), judged.value("co2_pct", place)
    if period is None or period.applied_bias_co2_pct is None:
        return 1.0
    if test.o2_pct is not None and test.o2_pct < AIR_O2_PCT and o2 is not None:
        return max(1.0, (AIR_O2_PCT - o2) / (AIR_O2_PCT - test.o2_pct))
    return max(1.0, co2 / test.co2_pct) if test.co2_pct and co2 is not None else 1.0


def _graver_of_each(test: FiringTest, limits: Limits, levels: Sequence[Level]) -> Iterator[Draft]:
    """At make safe the lower level goes without saying."""
    for level, code in (("make_safe", "co_make_safe"), ("investigate", "co_investigate")):
        for quantity, name, unit, value in levels:
            limit: SafetyLimit | None = limits.get((quantity, level))
            if value is not None and limit is not None and value >= limit.value:
                evidence = {"quantity": name, "source": limit.source, "mark": limit.mark}
                yield at_test(test, code, value=value, limit=limit.value, unit=unit, rests_on=evidence)
                return


def _ambient_co(judged: Judged) -> Iterator[Draft]:
    worst = max(
        (test.ambient_co_ppm for _, test in judged.tests if test.ambient_co_ppm is not None), default=None
    )
    if worst is None:
        return
    for level in ("make_safe", "investigate"):
        limit = judged.case.limits.get(("ambient_co_ppm", level))
        if limit is not None and worst >= limit.value:
            evidence = {"source": limit.source, "mark": limit.mark}
            yield Draft(f"ambient_co_{level}", value=worst, limit=limit.value, unit="ppm", rests_on=evidence)
            return


def _left_off(judged: Judged) -> Iterator[Draft]:
    if judged.case.visit.outcome == Outcome.LEFT_OFF:
        yield Draft("left_off")


_IMPLAUSIBLE: dict[str, tuple[str, float | None, str]] = {
    "o2_above_ambient": ("o2_pct", AIR_O2_PCT, "%"),
    "o2_negative": ("o2_pct", 0.0, "%"),
    "co2_negative": ("co2_pct", 0.0, "%"),
    "co2_above_max": ("co2_pct", None, "%"),
    "inconsistent_o2_co2": ("", None, ""),
    "rich": ("", None, ""),
    "co_out_of_range": ("co_ppm", CO_LIMIT_PPM, "ppm"),
    "flue_temp_out_of_range": ("flue_temp_c", None, "°C"),
    "air_temp_out_of_range": ("air_temp_c", None, "°C"),
}
"""Code to the reading it is about, its limit where that is one for all fuels, and the unit."""


def _implausible(judged: Judged) -> Iterator[Draft]:
    """What the numbers refused, value and limit named."""
    for place, test in judged.tests:
        for code in judged.numbers.codes[place]:
            if code in _IMPLAUSIBLE:
                name, limit, unit = _IMPLAUSIBLE[code]
                value, fuel = getattr(test, name) if name else None, judged.case.fuel_of(test)
                limit = fuel.co2_max_pct if code == "co2_above_max" else limit
                evidence = {"fuel": fuel.name}
                yield at_test(test, code, value=value, limit=limit, unit=unit, rests_on=evidence)
        if test.o2_pct is None and test.co2_pct is None:
            yield at_test(test, "no_reading")


def _times(judged: Judged) -> Iterator[Draft]:
    visit = judged.case.visit
    received_at = visit.closed_received_at or judged.case.now
    if visit.closed_at is not None and visit.closed_at < visit.opened_at:
        yield Draft("times_out_of_order", "visit", rests_on={"detail": "The visit closes before it opens."})
    last: FiringTest | None = None
    for _, test in sorted(judged.tests, key=lambda pair: pair[1].sequence):
        if test.observed_at is None:
            continue
        if test.observed_at < visit.opened_at - CLOCK_TOLERANCE:
            yield at_test(
                test, "times_out_of_order", rests_on={"detail": "A test was read before the visit opened."}
            )
        elif visit.closed_at is not None and test.observed_at > visit.closed_at + CLOCK_TOLERANCE:
            yield at_test(
                test, "times_out_of_order", rests_on={"detail": "A test was read after the visit closed."}
            )
        elif last is not None and last.observed_at is not None and test.observed_at < last.observed_at:
            detail = f"Test {test.key} follows {last.key} in sequence and was read before it."
            yield at_test(test, "times_out_of_order", rests_on={"detail": detail})
        last = test
    if received_at is not None:
        newest = max((t.observed_at for _, t in judged.tests if t.observed_at), default=visit.opened_at)
        ahead = max(newest, visit.opened_at) - received_at
        if ahead > CLOCK_TOLERANCE:
            yield _clock_apart(ahead)


def _clock_apart(ahead: timedelta) -> Draft:
    """In minutes, or in days where a clock is wrong by days or years."""
    unit, name = (timedelta(days=1), "days") if ahead > timedelta(days=2) else (timedelta(minutes=1), "min")
    return Draft("clock_apart", value=ahead / unit, limit=CLOCK_TOLERANCE / unit, unit=name)


def _fuel(judged: Judged) -> Iterator[Draft]:
    expected = judged.case.appliance.fuel
    if judged.case.visit.source == Visit.Source.IMPORT:
        return  # what was on file on an old visit's day is not known; a conversion starts a new trim state
    for _, test in judged.tests:
        if test.fuel != expected:
            evidence = {"fuel": FUELS[test.fuel].name, "expected": FUELS[expected].name}
            yield Draft("other_fuel", rests_on=evidence)


def _acceptance(judged: Judged) -> Iterator[Draft]:
    """CO2 outside its band: graver as left than as found. What was found and left alone was left so."""
    case, inside = judged.case, judged.verdicts.p_inside
    outside = [(place, test) for place, test in judged.tests if inside.get(place, 1.0) < P_OUTSIDE]
    if not outside:
        return
    left = {id(test) for test in standing_tests(case, Phase.AS_LEFT).values()}
    for place, test in outside:
        probability = inside[place]
        if id(test) in left and (test.phase == Phase.AS_LEFT or case.visit.is_closed):
            yield _outside(judged, "outside_acceptance", place, test, probability)
        elif test.phase == Phase.AS_FOUND:
            yield _outside(judged, "found_outside_acceptance", place, test, probability)


def _outside(judged: Judged, code: str, place: int, test: FiringTest, probability: float) -> Draft:
    band, spec = judged.verdicts.bands[place], judged.case.spec_for(test)
    value = judged.value("co2_pct", place) or 0.0
    below = value < (band.accept_low + band.accept_high) / 2
    return at_test(
        test,
        code,
        value=value,
        limit=band.accept_low if below else band.accept_high,
        unit="%",
        probability=probability,
        rests_on={"source": spec.source if spec else ""},
    )


def _unproved(judged: Judged) -> Iterator[Draft]:
    for place, test in judged.tests:
        if place in judged.verdicts.unprovable:
            yield at_test(test, "cannot_prove", probability=judged.verdicts.unprovable[place])


def _pressure_and_flue(judged: Judged) -> Iterator[Draft]:
    for _, test in judged.tests:
        spec = judged.case.spec_for(test)
        if spec is None:
            continue
        source = {"source": spec.source}
        pressure, flue = test.inlet_pressure_mbar, test.flue_temp_c
        low, high = spec.inlet_pressure_low_mbar, spec.inlet_pressure_high_mbar
        if pressure is not None and low is not None and pressure < low:
            yield at_test(
                test, "inlet_pressure_outside", value=pressure, limit=low, unit="mbar", rests_on=source
            )
        if pressure is not None and high is not None and pressure > high:
            yield at_test(
                test, "inlet_pressure_outside", value=pressure, limit=high, unit="mbar", rests_on=source
            )
        if flue is not None and spec.flue_temp_max_c is not None and flue > spec.flue_temp_max_c:
            yield at_test(
                test, "flue_temp_high", value=flue, limit=spec.flue_temp_max_c, unit="°C", rests_on=source
            )


def _fuel_line(judged: Judged) -> Iterator[Draft]:
    for place, test in judged.tests:
        residual = judged.value("fuel_line_residual_pct", place)
        u = float(judged.numbers.u["fuel_line_residual_pct"][place])
        if residual is not None and u > 0 and abs(residual) > FUEL_LINE_U * u:
            evidence = {"fuel": judged.case.fuel_of(test).name}
            yield at_test(test, "fuel_line_off", value=residual, unit="%", rests_on=evidence)


def _no_spec(judged: Judged) -> Iterator[Draft]:
    for _, test in judged.tests:
        if judged.case.spec_for(test) is None:
            evidence = {"fuel": FUELS[test.fuel].name, "place": str(Point(test.point).label)}
            yield Draft("no_spec", f"point:{test.point}", rests_on=evidence)


def _put_back(judged: Judged) -> Iterator[Draft]:
    if not judged.case.visit.is_closed:
        return
    for change in judged.case.changes:
        if change.put_back_at is None and not change.withdrawn_reason:
            evidence = {name: getattr(change, name) for name in ("what", "was", "set_to", "reason")}
            yield Draft("not_put_back", f"change:{change.key}", rests_on=evidence)


def _items(judged: Judged) -> Iterator[Draft]:
    yield from item_findings(judged.case)
    yield from put_back_findings(judged.case)


def _analyser(judged: Judged) -> Iterator[Draft]:
    visit, period = judged.case.visit, judged.case.period
    if not any(True for _ in judged.tests):
        return
    if visit.analyser_id is None:
        if visit.analyser_text:
            yield Draft("analyser_unknown", rests_on={"analyser": visit.analyser_text})
        else:
            yield Draft("analyser_missing")
    elif period is None or period.starts_on is None:
        yield Draft("calibration_unknown")
    elif period.calibration_due_on is not None and period.calibration_due_on < visit.local_on:
        yield Draft("calibration_lapsed", rests_on={"due": period.calibration_due_on.isoformat()})


def _licence(judged: Judged) -> Iterator[Draft]:
    if judged.case.licence_gap is not None:
        yield Draft(judged.case.licence_gap)


RULES: tuple[Rule, ...] = (
    _co,
    _ambient_co,
    _left_off,
    _implausible,
    _fuel,
    _acceptance,
    _pressure_and_flue,
    _fuel_line,
    _put_back,
    _items,
    order_of_work,
    moves,
    settled,
    forced_rate,
    rate_proved,
    _times,
    _no_spec,
    _unproved,
    _analyser,
    _licence,
)
