"""How far each reading can be trusted: the analyser's own figures where they are on file, else its class."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from combustion.analyser import (
    EN_50379,
    AccuracyClass,
    ErrorLimit,
    corrected_reading,
    derived_co2_u_pct,
)
from combustion.arrays import nan_as_zero
from combustion.balance import AIR_O2_PCT
from combustion.fuels import Fuel
from combustion.readings import AnalyserSetting
from visits.judging.case import Case
from visits.models import FiringTest

F64 = NDArray[np.float64]
_CHANNEL_OF = {"inlet_pressure_mbar": "pressure_mbar"}  # reading to the analyser channel that reads it


@dataclass(frozen=True)
class Channel:
    """One reading of several tests: corrected values, standard uncertainties, shared share of variance."""

    value: F64
    u: F64
    shared_share: F64


def channel_accuracy(name: str, fuel: Fuel, tests: Sequence[FiringTest], cases: Sequence[Case]) -> Channel:
    """The reading `name` of tests on one fuel, less the analyser period's bias where that is known."""
    value = np.array([getattr(test, name) for test in tests], dtype=np.float64)
    if np.isnan(value).all():
        return Channel(value, np.zeros(len(tests)), np.zeros(len(tests)))
    own, shared = np.full(len(tests), np.nan), np.full(len(tests), np.nan)
    corrected = value.copy()
    derived = [name == "co2_pct" and test.co2_source != FiringTest.Source.MEASURED for test in tests]
    for accuracy, from_o2, rows in _by_accuracy(name, derived, cases):
        age = np.array([cases[row].age_days for row in rows])
        bias, u_bias = _bias(name, fuel, [tests[row] for row in rows], [cases[row] for row in rows])
        answer = corrected_reading(
            "o2_pct" if from_o2 else name,
            value[rows],
            accuracy=accuracy,
            age_days=age,
            bias=np.where(from_o2, np.nan, bias),
            u_bias=np.where(from_o2, np.nan, u_bias),
        )
        corrected[rows], own[rows], shared[rows] = answer.value, answer.u_independent, answer.u_shared
        if from_o2:
            setting = AnalyserSetting.of(fuel)
            own[rows] = derived_co2_u_pct(answer.u_independent, setting)
            shared[rows] = np.where(np.isnan(u_bias), derived_co2_u_pct(answer.u_shared, setting), u_bias)
            corrected[rows] = value[rows] - nan_as_zero(bias)
    # What the window's scatter leaves of the mean belongs to this test alone.
    scatter = np.array([getattr(test, f"u_{name}", None) for test in tests], dtype=np.float64)
    own = np.hypot(own, nan_as_zero(scatter))
    u = np.hypot(own, shared)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = nan_as_zero(shared**2 / u**2)
    return Channel(corrected, nan_as_zero(u), share)


def quantity_u(name: str, tests: Sequence[FiringTest], cases: Sequence[Case]) -> list[tuple[float, float]]:
    """Own and shared standard uncertainty, per test, of a reading that enters no flue-gas computation."""
    value = np.array([getattr(test, name) for test in tests], dtype=np.float64)
    own, shared = np.full(len(tests), np.nan), np.full(len(tests), np.nan)
    for accuracy, _, rows in _by_accuracy(name, [False] * len(tests), cases):
        age = np.array([cases[row].age_days for row in rows])
        answer = corrected_reading(name, value[rows], accuracy=accuracy, age_days=age)
        own[rows], shared[rows] = answer.u_independent, answer.u_shared
    return list(zip(own.tolist(), shared.tolist(), strict=True))


def _by_accuracy(
    name: str, derived: Sequence[bool], cases: Sequence[Case]
) -> list[tuple[AccuracyClass, bool, NDArray[np.intp]]]:
    """Rows that share one accuracy and one way of being known."""
    groups: defaultdict[tuple[float | None, float | None, bool], list[int]] = defaultdict(list)
    stated: dict[tuple[int, bool], list[int]] = {}  # rows of one analyser share their channels
    for row, (case, from_o2) in enumerate(zip(cases, derived, strict=True)):
        of_analyser = (id(case.channels), from_o2)
        if of_analyser not in stated:
            stated[of_analyser] = groups[*_stated("o2_pct" if from_o2 else name, case), from_o2]
        stated[of_analyser].append(row)
    return [
        (_class("o2_pct" if from_o2 else name, absolute, relative), from_o2, np.array(rows))
        for (absolute, relative, from_o2), rows in groups.items()
    ]


def _stated(name: str, case: Case) -> tuple[float | None, float | None]:
    channel = case.channels.get(_CHANNEL_OF.get(name, name))
    return (channel.accuracy_abs, channel.accuracy_rel) if channel else (None, None)


def _class(name: str, absolute: float | None, relative: float | None) -> AccuracyClass:
    if absolute is None and relative is None:
        return EN_50379
    limit = ErrorLimit(np.inf, absolute or 0.0, relative or 0.0)
    return AccuracyClass(name="stated", source="the analyser's channel on file", channels={name: (limit,)})


def _bias(name: str, fuel: Fuel, tests: Sequence[FiringTest], cases: Sequence[Case]) -> tuple[F64, F64]:
    """The applied bias in the unit of this reading; it belongs to the channel that is measured."""
    bias, u_bias = np.full(len(tests), np.nan), np.full(len(tests), np.nan)
    if name not in ("o2_pct", "co2_pct"):
        return bias, u_bias
    factor = 1.0 if name == "co2_pct" else -AIR_O2_PCT / fuel.co2_max_pct
    for row, (test, case) in enumerate(zip(tests, cases, strict=True)):
        period = case.period
        both_measured = test.o2_pct is not None and test.co2_source == FiringTest.Source.MEASURED
        if period is None or period.applied_bias_co2_pct is None or period.applied_bias_u_co2_pct is None:
            continue
        if name == "co2_pct" and both_measured:
            continue
        bias[row] = factor * period.applied_bias_co2_pct
        u_bias[row] = abs(factor) * period.applied_bias_u_co2_pct
    return bias, u_bias
