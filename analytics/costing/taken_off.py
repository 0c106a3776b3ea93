"""What drift knows of analysers and gas, in the shape that takes it off many readings at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.estimates import Estimates, FloatArray, IntArray
from analytics.models import DriftRun, GasShift, PeriodBias
from analytics.reading import FleetHistory
from analytics.reading.columns import rows_of
from analytics.reading.sources import FIRST_YEAR

UNKNOWN_GAS_U = 0.01
"""Standard uncertainty of what an area's gas adds to ln phi where no shift is told. Assumed, no source."""
_MONTHS = 100_000
"""More than any running month."""


@dataclass(frozen=True)
class TakenOff:
    """Bias per analyser period [% CO2 at 9 %] and shift per gas area and month [%], with uncertainties.

    period_ids (P,), cells (C,): in order; a cell is area and running month in one key.
    """

    period_ids: IntArray
    bias: FloatArray
    bias_u: FloatArray
    cells: IntArray
    shift: FloatArray
    shift_u: FloatArray

    @classmethod
    def of_fit(cls, read: FleetHistory, estimates: Estimates) -> TakenOff:
        """Of a fit that is not stored yet."""
        biases, shifts, numbering = estimates.biases, estimates.shifts, read.numbering
        told, known = np.isfinite(biases.bias), np.isfinite(shifts.shift)
        return _ordered(
            np.stack([numbering.period_ids, biases.bias, biases.u], axis=1)[told],
            np.stack(
                [cell_of(numbering.area_ids[shifts.area], shifts.month), shifts.shift, shifts.u], axis=1
            )[known],
        )

    @classmethod
    def of_run(cls, run: DriftRun, periods: IntArray, areas: IntArray) -> TakenOff:
        """Of a stored run, of some periods and areas. Two queries."""
        biases = PeriodBias.objects.filter(run=run, period__in=np.unique(periods).tolist())
        shifts = GasShift.objects.filter(run=run, gas_area__in=np.unique(areas).tolist())
        cells = [
            (cell_of(area, (month.year - FIRST_YEAR) * 12 + month.month - 1), shift, u)
            for area, month, shift, u in shifts.values_list("gas_area", "month", "shift_pct", "shift_u_pct")
        ]
        return _ordered(
            np.array(
                list(biases.values_list("period", "bias_co2_pct", "bias_u_co2_pct")), np.float64
            ).reshape(-1, 3),
            np.array(cells, np.float64).reshape(-1, 3),
        )

    def biases_of(self, periods: IntArray) -> tuple[FloatArray, FloatArray]:
        """Bias and its uncertainty (n,), NaN where nothing is known."""
        return _looked_up(self.period_ids, periods, self.bias, self.bias_u)

    def shifts_of(self, areas: IntArray, months: IntArray) -> tuple[FloatArray, FloatArray]:
        """Shift of ln phi and its uncertainty [-] (n,), NaN where nothing is known."""
        shift, u = _looked_up(self.cells, cell_of(areas, months), self.shift, self.shift_u)
        return shift / 100.0, u / 100.0


def cell_of(area: IntArray, month: IntArray) -> IntArray:
    """Gas area and running month in one key."""
    return area * _MONTHS + month


def _ordered(biases: FloatArray, shifts: FloatArray) -> TakenOff:
    biases, shifts = biases[np.argsort(biases[:, 0])], shifts[np.argsort(shifts[:, 0])]
    return TakenOff(
        biases[:, 0].astype(np.int64), biases[:, 1], biases[:, 2],
        shifts[:, 0].astype(np.int64), shifts[:, 1], shifts[:, 2],
    )  # fmt: skip


def _looked_up(ids: IntArray, wanted: IntArray, *columns: FloatArray) -> tuple[FloatArray, FloatArray]:
    at = rows_of(ids, wanted)
    if not len(ids):
        unknown = np.full(len(wanted), np.nan)
        return unknown, unknown
    first, second = (np.where(at >= 0, column[at], np.nan) for column in columns)
    return first, second
