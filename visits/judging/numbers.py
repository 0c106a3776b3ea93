"""The numbers behind the judgements: every test of every case at once, one call of `combustion` per fuel."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from combustion.altitude import pressure_hpa_at
from combustion.flue_gas import FlueGasState, flue_gas_state
from combustion.fuels import FUELS, Fuel
from combustion.readings import AnalyserSetting, Readings
from common.constraints import MEASURED_LIMIT
from visits.judging.accuracy import Channel, channel_accuracy
from visits.judging.case import Case
from visits.models import FiringTest
from visits.models.results import QUANTITIES

F64 = NDArray[np.float64]
Bool = NDArray[np.bool_]
Why = dict[str, str]
"""Quantity to the code of the reason why it cannot be given."""
# Close to plain air some quantities grow without bound; past this they say nothing, and no column holds them.
TOO_LARGE = "too_large"
NOT_READ = "not_read"
OF_CO = ("co_air_free_ppm", "co_co2_ratio")
"""What a CO that was not read says nothing of: the balance takes it as none, and no paper may say 0."""
_NAMES = (*QUANTITIES, "fuel_line_residual_pct")
_IS_OF_CO = np.array([[name in OF_CO] for name in _NAMES])
UNIT_OF_READING = ("o2_pct", "co2_pct", "co_ppm", "nox_ppm", "flue_temp_c", "air_temp_c")


@dataclass(frozen=True)
class Numbers:
    """Per test, in the order of `tests`: the flue-gas state and how its CO2 is known.

    shared_share: share (0 to 1) of the variance of CO2 that is the analyser's own error, common to all its
    readings of the visit.
    """

    tests: Sequence[FiringTest]
    cases: Sequence[Case]
    state: dict[str, F64]
    u: dict[str, F64]
    shared_share: F64
    codes: list[tuple[str, ...]]
    why: list[Why]


def numbers_of(cases: Sequence[Case]) -> Numbers:
    """All numbers of all tests. Withdrawn tests are computed too; the rules leave them out."""
    tests = [test for case in cases for test in case.tests]
    of_case = [case for case in cases for _ in case.tests]
    count = len(tests)
    state, u = np.full((2, len(_NAMES), count), np.nan)
    answer = Numbers(
        tests=tests,
        cases=of_case,
        state=dict(zip(_NAMES, state, strict=True)),
        u=dict(zip(_NAMES, u, strict=True)),
        shared_share=np.zeros(count),
        codes=[()] * count,
        why=[{}] * count,
    )
    by_fuel: dict[Fuel, list[int]] = defaultdict(list)
    for place, test in enumerate(tests):
        by_fuel[of_case[place].fuel_of(test)].append(place)
    for fuel, places in by_fuel.items():
        state[:, places], u[:, places] = _filled(answer, fuel, np.array(places))
    return answer


def _filled(answer: Numbers, fuel: Fuel, places: NDArray[np.intp]) -> tuple[F64, F64]:
    """The quantities of `_NAMES` and their uncertainties of the tests on one fuel, whose codes are noted."""
    tests = [answer.tests[place] for place in places]
    cases = [answer.cases[place] for place in places]
    channels = {name: channel_accuracy(name, fuel, tests, cases) for name in UNIT_OF_READING}
    o2_driven = np.array([test.o2_pct is not None for test in tests])
    state = _state(fuel, tests, cases, channels)
    values, u = state.table(_NAMES)
    not_given = np.isnan(values)
    too_large = (np.abs(values) >= MEASURED_LIMIT) | (np.abs(u) >= MEASURED_LIMIT)
    no_co = np.array([test.co_ppm is None for test in tests])
    dropped = too_large | (_IS_OF_CO & no_co)
    values[dropped] = u[dropped] = np.nan
    o2, co2 = channels["o2_pct"], channels["co2_pct"]
    answer.shared_share[places] = np.where(o2_driven, o2.shared_share, co2.shared_share)
    why = _why(state, not_given, too_large, no_co)
    for row, place in enumerate(places.tolist()):
        answer.codes[place] = state.codes(row)
        answer.why[place] = why[row]
    return values, u


def _why(state: FlueGasState, not_given: Bool, too_large: Bool, no_co: Bool) -> list[Why]:
    """Why each row lacks what it lacks. Rows that lack the same for the same reasons share one answer.

    not_given, too_large: shape (names, rows).   no_co: (rows,).
    """
    patterns = np.packbits(np.vstack([not_given, too_large, no_co]), axis=0).T.tolist()
    known: dict[tuple[int, ...], Why] = {}
    answer = []
    for row, (flags, pattern) in enumerate(zip(state.flags.tolist(), patterns, strict=True)):
        if (alike := (flags, *pattern)) not in known:
            known[alike] = {
                name: reason
                for place, name in enumerate(QUANTITIES)
                if (reason := TOO_LARGE if too_large[place, row] else state.why(name, row)) is not None
            } | (dict.fromkeys(OF_CO, NOT_READ) if no_co[row] else {})
        answer.append(known[alike])
    return answer


def _state(
    fuel: Fuel, tests: Sequence[FiringTest], cases: Sequence[Case], channels: dict[str, Channel]
) -> FlueGasState:
    settings = [FUELS[_setting(test, case)].co2_max_pct for test, case in zip(tests, cases, strict=True)]
    elevation = np.array([case.appliance.plant.site.elevation_m or 0.0 for case in cases])
    readings = Readings(
        **{name: channel.value for name, channel in channels.items()},
        **{f"u_{name}": channel.u for name, channel in channels.items()},
        pressure_hpa=pressure_hpa_at(elevation),
        o2_measured=np.array([test.o2_pct is not None for test in tests]),
        co2_measured=np.array([test.co2_source == FiringTest.Source.MEASURED for test in tests]),
    )
    setting = AnalyserSetting(np.array(settings))
    # A reading of 1e-300 % is bad news too: what overflows is dropped as too large.
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        return flue_gas_state(readings, fuel, setting=setting, strict=False)


def _setting(test: FiringTest, case: Case) -> str:
    """The fuel that the analyser was set to when it worked CO2 out."""
    analyser = case.period.analyser if case.period else case.visit.analyser
    return (analyser.fuel_setting if analyser else "") or test.fuel
