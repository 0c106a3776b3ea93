"""From what an analyser showed to the mixture: 1/air ratio, and the variance of its logarithm."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from analytics.reading.columns import Columns
from analytics.reading.sources import FUELS
from combustion import fuels
from combustion.analyser import COVERAGE, EN_50379, OWN_SHARE
from combustion.balance import AIR_O2_PCT, CO_LIMIT_PPM, phi_from_co2, phi_from_o2
from combustion.fuels import Fuel

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

FLAME_U_LN_PHI = 0.004
"""Scatter of ln phi that no analyser is to blame for: flame, settling, the last digit. Assumed, no source."""
_O2_LIMIT_PCT = EN_50379.channels["o2_pct"][0].absolute
_CO2_LIMIT_PCT = EN_50379.channels["co2_pct"][0].absolute
CATALOGUE = tuple(fuels.fuel(slug) for slug in FUELS)
_CO2_MAX_PCT = np.array([gas.co2_max_pct for gas in CATALOGUE])


def mixture_of(
    tests: Columns,
    analysers: Columns,
    analyser: IntArray,
    burned: IntArray | None = None,
    burnt: Sequence[Fuel] = CATALOGUE,
) -> tuple[FloatArray, FloatArray]:
    """phi [-] and variance of ln phi from each test's own noise, NaN where nothing usable was read.

    analyser (n,): row of `analysers`, -1 unknown.   burned (n,): place of the gas in `burnt`, -1 unknown.
    Left out: the catalogue's fuel. O2 is preferred; a CO2 that was worked out from O2 is turned back
    into O2 with the analyser's fuel setting, else with the fuel of the test.
    """
    co2, o2 = tests["co2_pct"].astype(np.float64), tests["o2_pct"].astype(np.float64)
    fuel = tests["fuel"].astype(np.int64)
    burned = fuel if burned is None else burned
    co = tests["co_ppm"].astype(np.float64)
    with np.errstate(invalid="ignore"):
        co = np.where((co >= 0) & (co < CO_LIMIT_PPM), co, 0.0)
    measured_co2 = (tests["co2_measured"] == 1) & np.isnan(o2)
    setting = np.where(analyser >= 0, _taken(analysers["setting"], analyser, -1), -1)
    setting = np.where(setting >= 0, setting, fuel)
    behind = AIR_O2_PCT * (1.0 - co2 / _CO2_MAX_PCT[setting])
    o2 = np.where(np.isnan(o2) & ~measured_co2, behind, o2)

    phi, slope = np.full(len(o2), np.nan), np.full(len(o2), np.nan)
    for number in np.unique(burned[burned >= 0]):
        gas, own = burnt[number], burned == number
        with np.errstate(invalid="ignore"):
            by_o2 = own & ~measured_co2 & (o2 >= 0.0) & (o2 < AIR_O2_PCT - 0.01)
            by_co2 = own & measured_co2 & (co2 > 0.0) & (co2 <= gas.co2_max_pct)
        phi[by_o2], slope[by_o2] = phi_from_o2(o2[by_o2], gas, co[by_o2])
        phi[by_co2], slope[by_co2] = phi_from_co2(co2[by_co2], gas, co[by_co2])
    with np.errstate(invalid="ignore"):
        # CO beyond what the oxygen allows leaves no positive ratio
        phi[~(phi > 0.0)] = np.nan
    u = np.where(
        measured_co2,
        _own_u(co2, analysers, analyser, "co2", _CO2_LIMIT_PCT),
        _own_u(o2, analysers, analyser, "o2", _O2_LIMIT_PCT),
    )
    return phi, (u * slope / phi) ** 2 + FLAME_U_LN_PHI**2


def _own_u(
    value: FloatArray, analysers: Columns, analyser: IntArray, channel: str, usual_limit: float
) -> FloatArray:
    """The reading's own standard uncertainty, from the limits on file or those of the usual class."""
    absolute = _taken(analysers[f"{channel}_abs"], analyser, np.nan)
    relative = _taken(analysers[f"{channel}_rel"], analyser, np.nan)
    stated = np.fmax(absolute, relative * value)
    return np.asarray(OWN_SHARE / COVERAGE * np.where(stated > 0.0, stated, usual_limit))


def _taken(values: npt.NDArray[Any], place: IntArray, missing: float) -> npt.NDArray[Any]:
    """values[place], and `missing` where the place is -1."""
    if not len(values):
        return np.full(len(place), missing)
    return np.where(place >= 0, values[place], missing)
