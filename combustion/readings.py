"""What an analyser and a thermometer say about a burner, checked row by row before anything is computed."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from combustion import enthalpy
from combustion.arrays import F64, Bool, as_float
from combustion.balance import AIR_O2_PCT, CO_LIMIT_PPM
from combustion.errors import OutOfRange
from combustion.fuels import Fuel
from combustion.gum import Quantity
from combustion.reasons import Reason

DEFAULTS: Final = {"co_ppm": 0.0, "air_rh_pct": 0.0, "pressure_hpa": 1013.25}
NOX_LIMIT_PPM: Final = 100_000.0
LOWEST_AIR_C: Final = -40.0
HIGHEST_AIR_C: Final = 80.0
LOWEST_PRESSURE_HPA: Final = 500.0
HIGHEST_PRESSURE_HPA: Final = 1100.0


@dataclass(frozen=True)
class AnalyserSetting:
    """How an analyser works CO2 out from O2: CO2 = co2_max_pct (1 - O2 / o2_air_pct), dry, vol %.

    Without CO this straight line is exact; a setting for another fuel differs by its CO2max, another maker's
    air by its O2.   co2_max_pct, o2_air_pct: numbers, or one per row.   Limits: positive. Source: mole
    balance, docs/formulas.md, section «measured or derived».

    >>> from combustion.fuels import FUELS
    >>> round(float(AnalyserSetting.of(FUELS["methane"]).co2_max_pct), 2)
    11.7
    """

    co2_max_pct: ArrayLike
    o2_air_pct: ArrayLike = AIR_O2_PCT

    @classmethod
    def of(cls, fuel: Fuel) -> AnalyserSetting:
        """The setting of an analyser that knows this fuel [vol %]. Limits: none. Source: mole balance."""
        return cls(fuel.co2_max_pct)


@dataclass(frozen=True)
class Readings:
    """Readings of one fuel's burners: numbers or arrays of one length; None or NaN is missing.

    o2_pct, co2_pct: dry, vol %.   co_ppm, nox_ppm: dry; NOx is counted as NO2.   flue_temp_c, air_temp_c:
    flue gas and burner's air inlet.   air_rh_pct: of the intake air.   pressure_hpa: absolute, at the site.
    u_…: standard uncertainties (k = 1) in the same units.   o2_measured, co2_measured: False where the
    analyser works the channel out from the other.   Missing CO and humidity count as 0, missing pressure as
    1013.25 hPa. Limits: checked when used, see flue_gas_state.   Source: docs/formulas.md, section
    «readings».

    >>> Readings(o2_pct=3.8).assumed
    ('co_ppm', 'air_rh_pct', 'pressure_hpa')
    """

    o2_pct: ArrayLike | None = None
    co2_pct: ArrayLike | None = None
    co_ppm: ArrayLike | None = None
    nox_ppm: ArrayLike | None = None
    flue_temp_c: ArrayLike | None = None
    air_temp_c: ArrayLike | None = None
    air_rh_pct: ArrayLike | None = None
    pressure_hpa: ArrayLike | None = None
    u_o2_pct: ArrayLike = 0.0
    u_co2_pct: ArrayLike = 0.0
    u_co_ppm: ArrayLike = 0.0
    u_nox_ppm: ArrayLike = 0.0
    u_flue_temp_c: ArrayLike = 0.0
    u_air_temp_c: ArrayLike = 0.0
    u_air_rh_pct: ArrayLike = 0.0
    u_pressure_hpa: ArrayLike = 0.0
    o2_measured: ArrayLike = True
    co2_measured: ArrayLike = False

    @property
    def assumed(self) -> tuple[str, ...]:
        """Readings for which a default stands in, in some row; no unit. Limits: none. Source: definition."""
        given = {name: getattr(self, name) for name in DEFAULTS}
        return tuple(n for n, v in given.items() if v is None or bool(np.isnan(as_float(v)).any()))

    def columns(self) -> dict[str, F64]:
        """Every field as a float array of no or one dimension, in its own unit. Limits: equal lengths.

        Raises OutOfRange where an array has another length.   Source: definition.
        """
        missing = {name: DEFAULTS.get(name, np.nan) for name in MEASURED}
        columns: dict[str, F64] = {}
        for f in fields(self):
            value = getattr(self, f.name)
            columns[f.name] = as_float(missing[f.name] if value is None else value)
        for name, default in DEFAULTS.items():
            given = columns[name]
            if np.isnan(given).any():
                columns[name] = np.where(np.isnan(given), default, given)
        return columns


MEASURED: Final = (
    "o2_pct",
    "co2_pct",
    "co_ppm",
    "nox_ppm",
    "flue_temp_c",
    "air_temp_c",
    "air_rh_pct",
    "pressure_hpa",
)


@dataclass(frozen=True)
class _Range:
    field: str
    lowest: float
    highest: float
    reason: Reason
    limit: str


_RANGES: Final = (
    _Range("o2_pct", 0.0, np.inf, Reason.O2_NEGATIVE, "0 <= o2_pct"),
    _Range("co2_pct", 0.0, np.inf, Reason.CO2_NEGATIVE, "0 <= co2_pct"),
    _Range("co_ppm", 0.0, CO_LIMIT_PPM, Reason.CO_OUT_OF_RANGE, f"0 <= co_ppm <= {CO_LIMIT_PPM:,.0f}"),
    _Range("nox_ppm", 0.0, NOX_LIMIT_PPM, Reason.NOX_OUT_OF_RANGE, f"0 <= nox_ppm <= {NOX_LIMIT_PPM:,.0f}"),
    _Range(
        "flue_temp_c",
        enthalpy.LOWEST_C,
        enthalpy.HIGHEST_C,
        Reason.FLUE_TEMP_OUT_OF_RANGE,
        f"{enthalpy.LOWEST_C:g} <= flue_temp_c <= {enthalpy.HIGHEST_C:g}",
    ),
    _Range(
        "air_temp_c",
        LOWEST_AIR_C,
        HIGHEST_AIR_C,
        Reason.AIR_TEMP_OUT_OF_RANGE,
        f"{LOWEST_AIR_C:g} <= air_temp_c <= {HIGHEST_AIR_C:g}",
    ),
    _Range("air_rh_pct", 0.0, 100.0, Reason.AIR_RH_OUT_OF_RANGE, "0 <= air_rh_pct <= 100"),
    _Range(
        "pressure_hpa",
        LOWEST_PRESSURE_HPA,
        HIGHEST_PRESSURE_HPA,
        Reason.PRESSURE_OUT_OF_RANGE,
        f"{LOWEST_PRESSURE_HPA:g} <= pressure_hpa <= {HIGHEST_PRESSURE_HPA:g}",
    ),
)


class Rows:
    """A block of rows under examination: what is wrong is marked, made missing, or, if strict, refused.

    Values in the readings' own units.   Limits: raises OutOfRange if strict.   Source: this package.
    """

    def __init__(
        self, columns: dict[str, F64], rows: int, first_row: int, *, strict: bool, scalar: bool
    ) -> None:
        self.columns = columns
        self.flags = np.zeros(rows, dtype=np.uint32)
        self._first_row = first_row
        self._strict = strict
        self._scalar = scalar

    def quantity(self, name: str) -> Quantity:
        """A reading with its uncertainty, in its unit. Limits: a field of Readings. Source: the readings."""
        return Quantity.measured(name, self.columns[name], self.columns[f"u_{name}"])

    def mark(self, where: Bool, reason: Reason) -> None:
        """Note a reason on rows. No unit. Limits: none. Source: this package."""
        if where.any():
            self.flags |= where * np.uint32(reason)

    def reject(self, field: str, wrong: Bool, reason: Reason, limit: str) -> None:
        """Mark wrong rows and make the field missing there; if strict, raise OutOfRange for the first.

        Unit: that of the field.   Limits: as given, in words.   Source: this package.
        """
        if not wrong.any():
            return
        values = self.columns[field]
        if self._strict:
            row = int(np.flatnonzero(wrong)[0])
            value = float(values if values.ndim == 0 else values[row])
            index = None if self._scalar else self._first_row + row
            raise OutOfRange(field, value, limit, index=index, code=reason.code)
        self.mark(wrong, reason)
        self.columns[field] = np.where(wrong, np.nan, values)

    def check(self) -> None:
        """Mark what is missing or out of range. Limits: those of Readings, in its units. Source: none."""
        columns = self.columns
        for r in _RANGES:
            values = columns[r.field]
            self.reject(r.field, (values < r.lowest) | (values > r.highest), r.reason, r.limit)
        above = columns["o2_pct"] >= AIR_O2_PCT
        self.reject("o2_pct", above, Reason.O2_ABOVE_AMBIENT, f"0 <= o2_pct < {AIR_O2_PCT:g}")
        for field, reason in (
            ("nox_ppm", Reason.NO_NOX),
            ("flue_temp_c", Reason.NO_FLUE_TEMP),
            ("air_temp_c", Reason.NO_AIR_TEMP),
        ):
            self.mark(np.isnan(columns[field]), reason)
        self.mark(columns["flue_temp_c"] < columns["air_temp_c"], Reason.FLUE_COLDER_THAN_AIR)
