"""The state itself: every quantity with its uncertainty, its reasons where it cannot be given, row by row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from combustion import reasons
from combustion.arrays import F64, as_float
from combustion.errors import OutOfRange
from combustion.flue_gas.channels import channels
from combustion.flue_gas.heat import heat
from combustion.flue_gas.rates import rates, siegert
from combustion.fuels import AIR_O2_FRACTION, Fuel
from combustion.gum import Quantity, choose
from combustion.readings import AnalyserSetting, Readings, Rows
from combustion.reasons import Reason

CHUNK_ROWS: Final = 16384  # of 2, 4, 8, 16 and 32 thousand the fastest measured

_ROUNDING: Final = 1e-12
_HEAP_HINT_BYTES: Final = 24 * 1024 * 1024

# What each quantity cannot do without.
BLOCKED_BY: Final[Mapping[str, Reason]] = {
    "air_ratio": reasons.AIR_RATIO,
    "excess_air_pct": reasons.AIR_RATIO,
    "o2_pct": reasons.AIR_RATIO,
    "co2_pct": reasons.AIR_RATIO,
    "co2_max_pct": Reason(0),
    "co_air_free_ppm": reasons.AIR_RATIO,
    "co_co2_ratio": reasons.AIR_RATIO,
    "dew_point_c": reasons.WATER,
    "condensed_pct": reasons.HEAT,
    "condensate_kg_per_kwh": reasons.HEAT,
    "sensible_loss_gross_pct": reasons.HEAT,
    "latent_loss_gross_pct": reasons.HEAT,
    "unburnt_loss_gross_pct": reasons.PRODUCTS | reasons.AIR_TEMP,
    "efficiency_gross_pct": reasons.HEAT,
    "efficiency_net_pct": reasons.HEAT,
    "siegert_loss_net_pct": reasons.AIR_RATIO | reasons.HEAT | Reason.NO_PUBLISHED_CONSTANTS,
    "co_mg_per_kwh_net": reasons.PRODUCTS,
    "nox_mg_per_kwh_net": reasons.PRODUCTS | reasons.NOX,
    "nox_ppm_at_3_o2": reasons.AIR_RATIO | reasons.NOX,
    "nox_lb_per_mmbtu": reasons.PRODUCTS | reasons.NOX,
    "co_lb_per_mmbtu": reasons.PRODUCTS,
    "nox_lb_per_mmbtu_method19": reasons.METHOD19 | reasons.NOX,
    "co_lb_per_mmbtu_method19": reasons.METHOD19,
    "fuel_line_residual_pct": reasons.TWO_CHANNELS,
    "fo": reasons.TWO_CHANNELS,
}
QUANTITIES: Final = tuple(BLOCKED_BY)
_PLACE: Final = {name: place for place, name in enumerate(QUANTITIES)}


@dataclass(frozen=True)
class FlueGasState:
    """Every quantity of QUANTITIES with its standard uncertainty (k = 1), in the unit its name ends with.

    values, u: arrays of shape (quantities, rows), NaN where a quantity cannot be given.   flags: Reason bits
    per row.   assumed: readings replaced by their defaults.   Limits: a result.   Source: flue_gas_state.
    """

    values: F64
    u: F64
    flags: NDArray[np.uint32]
    assumed: tuple[str, ...]
    shape: tuple[int, ...]

    def value(self, name: str) -> F64:
        """A quantity in its own unit, shaped as the readings. Limits: QUANTITIES. Source: as state."""
        return np.reshape(self.values[_PLACE[name]], self.shape)

    def uncertainty(self, name: str) -> F64:
        """Its standard uncertainty (k = 1), same unit. Limits: a name of QUANTITIES. Source: GUM."""
        return np.reshape(self.u[_PLACE[name]], self.shape)

    def table(self, names: Sequence[str]) -> tuple[F64, F64]:
        """Quantities and their standard uncertainties, two arrays of shape (names, rows), in their units.

        Limits: names of QUANTITIES.   Source: as state.
        """
        places = [_PLACE[name] for name in names]
        return self.values[places], self.u[places]

    def why(self, name: str, row: int = 0) -> str | None:
        """The code of the reason why a quantity is missing in a row; None where it is given. No unit.

        Limits: a name of QUANTITIES.   Source: combustion.reasons.
        """
        if not np.isnan(self.values[_PLACE[name], row]):
            return None
        blocking = reasons.codes_of(int(self.flags[row]) & int(BLOCKED_BY[name]))
        return blocking[0] if blocking else "not_computable"

    def codes(self, row: int = 0) -> tuple[str, ...]:
        """All reasons noted on a row, in order. No unit. Limits: a row. Source: combustion.reasons."""
        return reasons.codes_of(int(self.flags[row]))


def flue_gas_state(
    readings: Readings, fuel: Fuel, *, setting: AnalyserSetting | None = None, strict: bool = True
) -> FlueGasState:
    """The state of one fuel's flue gas per row of readings, every quantity with its uncertainty.

    setting: how the analyser derives CO2 (default: it knows this fuel exactly).   strict: raise OutOfRange
    (field, value, limit, index) for what cannot be; otherwise mark the row and give what can still be given.
    Limits: 0 <= O2 < 20.95, 0 <= CO2 <= CO2max, flue -40 to 700 °C, air -40 to 80 °C, 500 to 1100 hPa, CO and
    NOx up to 10 %; measured O2 and CO2 whose implied CO2max is within 25 % of the fuel's. Uncertainty: first
    order, inputs independent; poor within one u of the dew point, where condensation sets in. Source:
    docs/formulas.md.

    >>> from combustion.fuels import FUELS
    >>> readings = Readings(o2_pct=3.826, flue_temp_c=60, air_temp_c=20, u_o2_pct=0.15)
    >>> state = flue_gas_state(readings, FUELS["methane"])
    >>> round(float(state.value("efficiency_gross_pct")), 1), round(float(state.uncertainty("air_ratio")), 4)
    (88.4, 0.0096)
    """
    columns = _columns(readings, fuel, setting)
    shape = _common_shape(columns)
    rows = int(np.prod(shape, dtype=np.intp))
    values, u = np.empty((len(QUANTITIES), rows)), np.empty((len(QUANTITIES), rows))
    flags = np.empty(rows, dtype=np.uint32)
    if rows > CHUNK_ROWS:
        _keep_the_heap()
    with np.errstate(invalid="ignore", divide="ignore"):
        for start in range(0, rows, CHUNK_ROWS):
            block = slice(start, min(start + CHUNK_ROWS, rows))
            cut = {name: c if c.ndim == 0 else c[block] for name, c in columns.items()}
            checked = Rows(cut, block.stop - start, start, strict=strict, scalar=shape == ())
            for name, quantity in _state(checked, fuel).items():
                place = _PLACE[name]
                values[place, block] = quantity.value
                quantity.u_into(u[place, block])
            flags[block] = checked.flags
            unknown = np.isnan(values[:, block])
            np.copyto(u[:, block], np.nan, where=unknown)
    return FlueGasState(values, u, flags, readings.assumed, shape)


def _keep_the_heap() -> None:
    """Give back one large block at once: glibc then keeps freed memory up to that size.

    Otherwise every block's temporaries go back to the system and return as page faults, a third of the time.
    """
    np.empty(_HEAP_HINT_BYTES, dtype=np.uint8)


def quantities(
    readings: Readings, fuel: Fuel, *, setting: AnalyserSetting | None = None
) -> dict[str, Quantity]:
    """The same quantities with their sensitivities, strictly checked, for what is computed further from them.

    All rows at once: for a few, not for a fleet.   Units: as the names end.   Limits: as flue_gas_state,
    strict. Source: docs/formulas.md.

    >>> from combustion.fuels import FUELS
    >>> round(float(quantities(Readings(o2_pct=3.826), FUELS["methane"])["air_ratio"].value), 3)
    1.2
    """
    columns = _columns(readings, fuel, setting)
    shape = _common_shape(columns)
    rows = int(np.prod(shape, dtype=np.intp))
    with np.errstate(invalid="ignore", divide="ignore"):
        return _state(Rows(columns, rows, 0, strict=True, scalar=shape == ()), fuel)


def _columns(readings: Readings, fuel: Fuel, setting: AnalyserSetting | None) -> dict[str, F64]:
    columns = readings.columns()
    used = setting or AnalyserSetting.of(fuel)
    columns["co2_max_setting_pct"] = as_float(used.co2_max_pct)
    columns["o2_air_setting_pct"] = as_float(used.o2_air_pct)
    return columns


def _common_shape(columns: Mapping[str, F64]) -> tuple[int, ...]:
    try:
        shape = np.broadcast_shapes(*(c.shape for c in columns.values()))
    except ValueError:
        lengths = ", ".join(f"{name} {c.shape}" for name, c in columns.items() if c.ndim)
        raise OutOfRange("readings", lengths, "arrays of one length", code="shape") from None
    if len(shape) > 1:
        raise OutOfRange("readings", str(shape), "numbers or arrays of one dimension", code="shape")
    return shape


def _state(rows: Rows, fuel: Fuel) -> dict[str, Quantity]:
    """All quantities of one block of rows."""
    as_read = {name: rows.quantity(name) for name in ("o2_pct", "co2_pct")}
    rows.check()
    co_ppm = rows.quantity("co_ppm")
    co_pct = co_ppm * 1e-4
    told = channels(rows, fuel, co_pct)

    half = co_pct * 0.5
    surplus = (told.o2_pct - half) / (100.0 - half)
    per_air = fuel.dry_products_less_air / fuel.stoich_air_mol_per_mol
    air_ratio = (AIR_O2_FRACTION + surplus * per_air) / (AIR_O2_FRACTION - surplus)
    without_co = air_ratio * fuel.stoich_air_mol_per_mol + fuel.dry_products_less_air
    dry_flue = without_co / (1.0 - half * 0.01)
    co_ppm_mol = co_ppm * dry_flue

    out = {
        "air_ratio": air_ratio,
        "excess_air_pct": air_ratio * 100.0 - 100.0,
        "co2_max_pct": Quantity(fuel.co2_max_pct),
        "co_air_free_ppm": co_ppm_mol * (1.0 / fuel.stoich_dry_flue_mol_per_mol),
        "fuel_line_residual_pct": told.residual_pct,
        "fo": told.fo,
    }
    out |= _dry_fractions(fuel, told.o2_pct, dry_flue, co_pct, as_read)
    out |= heat(rows, fuel, air_ratio, dry_flue, co_ppm_mol)
    out |= rates(rows, fuel, told.o2_pct, dry_flue, co_ppm_mol)
    out |= siegert(rows, fuel, told.o2_pct)
    rich = np.asarray(air_ratio.value < 1.0 - _ROUNDING)
    if rich.any():
        rows.mark(rich, Reason.RICH)
        for name in (n for n, blocks in BLOCKED_BY.items() if Reason.RICH in blocks):
            out[name] = choose(rich, Quantity(np.nan), out[name])
    return out


def _dry_fractions(
    fuel: Fuel, o2_pct: Quantity, dry_flue: Quantity, co_pct: Quantity, as_read: Mapping[str, Quantity]
) -> dict[str, Quantity]:
    """Dry O2, CO2 and CO/CO2; where no air ratio can be had, O2 and CO2 as they were read."""
    co2_pct = 100.0 * fuel.carbon / dry_flue - co_pct
    without = np.isnan(dry_flue.value)
    if without.any():
        o2_pct = choose(without, as_read["o2_pct"], o2_pct)
        co2_pct = choose(without, as_read["co2_pct"], co2_pct)
    ratio = co_pct / co2_pct if fuel.carbon else Quantity(np.nan)
    return {"o2_pct": o2_pct, "co2_pct": co2_pct, "co_co2_ratio": ratio}
