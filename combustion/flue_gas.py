"""The full state of flue gas from a few readings, with the uncertainty of every result.

Complete combustion of all but the measured CO, no dissociation; ideal gases; flue gas at site pressure. The
heat balance is closed at the intake air's temperature: heating value, latent heat and sensible heat are all
taken from there. Formulas and sources: docs/formulas.md, sections «air ratio», «water» and «losses».
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from combustion import reasons, water
from combustion.arrays import F64, Bool, as_float
from combustion.balance import AIR_O2_PCT
from combustion.enthalpy import heat_and_capacity
from combustion.errors import OutOfRange
from combustion.fuels import AIR_O2_FRACTION, Fuel
from combustion.gum import Quantity, choose
from combustion.published import epa_fd, short_formula
from combustion.readings import AnalyserSetting, Readings, Rows
from combustion.reasons import Reason

CHUNK_ROWS: Final = 16384  # of 2, 4, 8, 16 and 32 thousand the fastest measured

CO_G_MOL: Final = 28.0101
NO2_G_MOL: Final = 46.0055
CO_KJ_MOL: Final = 282.98  # heat lost with unburnt CO, ISO 6976:2016 at 25 °C
NG_PER_J_PER_LB_PER_MMBTU: Final = 453.59237 / 1.05505585262
EPA_AIR_O2_PCT: Final = 20.9
EPA_NOX_LB_PER_DSCF_PPM: Final = 1.194e-7  # 40 CFR 75 appendix F
EPA_CO_LB_PER_DSCF_PPM: Final = 7.268e-8  # 28.0 / 385.3e6

# Two measured channels contradict each other beyond any gas when the CO2max they imply is this far from the
# fuel's (the catalogue's fuels differ by 25 % at most) and chance is ruled out.
_CO2_MAX_APART: Final = 0.25
_SIGMAS_APART: Final = 5.0

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
    "nox_lb_per_mmbtu_method19": reasons.AIR_RATIO | reasons.NOX,
    "co_lb_per_mmbtu_method19": reasons.AIR_RATIO,
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

    def why(self, name: str, row: int = 0) -> str | None:
        """The code of the reason why a quantity is missing in a row; None where it is given. No unit.

        Limits: a name of QUANTITIES.   Source: combustion.reasons.
        """
        if not np.isnan(self.values[_PLACE[name], row]):
            return None
        blocking = Reason(int(self.flags[row])) & BLOCKED_BY[name]
        return next((r.code for r in Reason if r in blocking), "not_computable")

    def codes(self, row: int = 0) -> tuple[str, ...]:
        """All reasons noted on a row, in order. No unit. Limits: a row. Source: combustion.reasons."""
        noted = Reason(int(self.flags[row]))
        return tuple(r.code for r in Reason if r in noted)


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
    with np.errstate(invalid="ignore", divide="ignore"):
        for start in range(0, rows, CHUNK_ROWS):
            block = slice(start, min(start + CHUNK_ROWS, rows))
            cut = {name: c if c.ndim == 0 else c[block] for name, c in columns.items()}
            checked = Rows(cut, block.stop - start, start, strict=strict, scalar=shape == ())
            for name, quantity in _state(checked, fuel).items():
                values[_PLACE[name], block] = quantity.value
                u[_PLACE[name], block] = quantity.u
            flags[block] = checked.flags
    u[np.isnan(values)] = np.nan
    return FlueGasState(values, u, flags, readings.assumed, shape)


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
    rows.check()
    co = _measured(rows, "co_ppm") * 1e-6
    given = {"o2_pct": rows.columns["o2_pct"], "co2_pct": rows.columns["co2_pct"]}
    oxygen, line = _oxygen(rows, fuel, co)

    half = co * 0.5
    burnt = 1.0 - half
    surplus = (oxygen - half) / burnt
    per_air = fuel.dry_products_less_air / fuel.stoich_air_mol_per_mol
    air_ratio = (AIR_O2_FRACTION + surplus * per_air) / (AIR_O2_FRACTION - surplus)
    dry_flue = (air_ratio * fuel.stoich_air_mol_per_mol + fuel.dry_products_less_air) / burnt
    co2 = fuel.carbon / dry_flue - co
    dilution = dry_flue / fuel.stoich_dry_flue_mol_per_mol

    out = _composition(fuel, air_ratio, oxygen, co2, co, dilution, given)
    out |= line
    rich = np.less(air_ratio.value, 1.0 - 1e-12)
    if rich.any():
        rows.mark(rich, Reason.RICH)
        air_ratio, dry_flue = (choose(rich, Quantity(np.nan), q) for q in (air_ratio, dry_flue))
    out |= _heat(rows, fuel, air_ratio, dry_flue, co)
    out |= _siegert(rows, fuel, oxygen)
    out |= _emissions(rows, fuel, oxygen, co, dry_flue, dilution)
    return out


def _measured(rows: Rows, name: str) -> Quantity:
    return Quantity.measured(name, rows.columns[name], rows.columns[f"u_{name}"])


def _oxygen(rows: Rows, fuel: Fuel, co: Quantity) -> tuple[Quantity, dict[str, Quantity]]:
    """Dry O2 fraction of each row from whichever channels were measured, and the fuel line where both were.

    On the fuel line O2 = CO/2 + X (1 - CO/2) - X (CO2 + CO)/CO2max (all fractions, X the air's O2).
    """
    columns = rows.columns
    has_o2, has_co2 = ~np.isnan(columns["o2_pct"]), ~np.isnan(columns["co2_pct"])
    o2_measured, co2_measured = (columns[f"{g}_measured"] != 0.0 for g in ("o2", "co2"))
    both = has_o2 & has_co2 & o2_measured & co2_measured
    o2 = _measured(rows, "o2_pct") * 0.01
    missing = {"fuel_line_residual_pct": Quantity(np.nan), "fo": Quantity(np.nan)}
    if (has_o2 & ~co2_measured & (o2_measured | has_co2)).all():
        rows.mark(~both, Reason.ONE_MEASURED_CHANNEL)
        return o2, missing

    from_co2 = has_co2 & co2_measured & ~both
    from_derived_co2 = has_co2 & ~co2_measured & ~has_o2
    from_derived_o2 = has_o2 & ~o2_measured & ~has_co2
    unknown = ~has_o2 & ~has_co2 & (rows.flags & np.uint32(reasons.AIR_RATIO) == 0)
    rows.reject("o2_pct", unknown, Reason.NO_O2_OR_CO2, "o2_pct or co2_pct to be given")
    if fuel.carbon == 0.0:
        wrong = from_co2 | from_derived_co2 | from_derived_o2 | both
        rows.reject("co2_pct", wrong, Reason.FUEL_WITHOUT_CARBON, "a fuel with carbon")
        rows.mark(~both, Reason.ONE_MEASURED_CHANNEL)
        return choose(wrong, Quantity(np.nan), o2), missing
    highest = np.where(from_derived_co2, columns["co2_max_setting_pct"], fuel.co2_max_pct)
    above = (from_co2 | from_derived_co2) & (columns["co2_pct"] > highest * (1.0 + 1e-9))
    limit = f"co2_pct <= {float(np.max(highest)):.3f}, the most the fuel can make"
    rows.reject("co2_pct", above, Reason.CO2_ABOVE_MAX, limit)

    co2 = _measured(rows, "co2_pct") * 0.01
    setting_max, setting_air = columns["co2_max_setting_pct"] * 0.01, columns["o2_air_setting_pct"] * 0.01
    co2_of_o2 = (1.0 - o2 * (1.0 / setting_air)) * setting_max
    co2 = choose(from_derived_o2, co2_of_o2, co2)
    slope = AIR_O2_FRACTION / (fuel.co2_max_pct / 100.0)
    on_line = (co * -0.5 + 1.0) * AIR_O2_FRACTION + co * 0.5 - (co2 + co) * slope
    oxygen = choose(from_co2 | from_derived_o2, on_line, o2)
    oxygen = choose(from_derived_co2, (1.0 - co2 * (1.0 / setting_max)) * setting_air, oxygen)
    rows.mark(~both, Reason.ONE_MEASURED_CHANNEL)
    if not both.any():
        return oxygen, missing
    off_line = o2 - on_line
    _refuse_contradiction(rows, fuel, both, off_line, o2, co2, co)
    still = both & (rows.flags & np.uint32(Reason.INCONSISTENT_O2_CO2) == 0)
    oxygen = choose(both, choose(still, _adjusted(o2, co2, off_line, slope), Quantity(np.nan)), oxygen)
    return oxygen, {
        "fuel_line_residual_pct": choose(both, off_line * (100.0 / slope), Quantity(np.nan)),
        "fo": choose(both, (EPA_AIR_O2_PCT / 100.0 - o2) / co2, Quantity(np.nan)),
    }


def _adjusted(o2: Quantity, co2: Quantity, off_line: Quantity, slope: float) -> Quantity:
    """Least squares of two channels on the fuel line: each moves by its own variance's share of the gap."""
    o2_variance, co2_variance = o2.u**2, (co2.u * slope) ** 2
    total = o2_variance + co2_variance
    share = np.where(total > 0.0, o2_variance / np.where(total > 0.0, total, 1.0), 0.5)
    return o2 - off_line * share


def _refuse_contradiction(
    rows: Rows, fuel: Fuel, both: Bool, off_line: Quantity, o2: Quantity, co2: Quantity, co: Quantity
) -> None:
    stoich_share = (1.0 - co.value * 0.5) - (o2.value - co.value * 0.5) / AIR_O2_FRACTION
    implied_max_pct = 100.0 * (co2.value + co.value) / stoich_share
    apart = np.abs(implied_max_pct / fuel.co2_max_pct - 1.0) > _CO2_MAX_APART
    sure = np.abs(off_line.value) > _SIGMAS_APART * off_line.u
    limit = f"with the measured O2 a co2_pct whose CO2max is {fuel.co2_max_pct:.2f} within 25 %"
    rows.reject("co2_pct", both & apart & sure, Reason.INCONSISTENT_O2_CO2, limit)


def _composition(
    fuel: Fuel,
    air_ratio: Quantity,
    oxygen: Quantity,
    co2: Quantity,
    co: Quantity,
    dilution: Quantity,
    given: Mapping[str, F64],
) -> dict[str, Quantity]:
    """Ratios and dry fractions; where no air ratio can be had, O2 and CO2 as they were read."""
    without = np.isnan(air_ratio.value)
    o2_pct, co2_pct = oxygen * 100.0, co2 * 100.0
    if without.any():
        o2_pct = choose(without, Quantity(given["o2_pct"]), o2_pct)
        co2_pct = choose(without, Quantity(given["co2_pct"]), co2_pct)
    ratio = co * 100.0 / co2_pct if fuel.carbon else Quantity(np.nan)
    return {
        "air_ratio": air_ratio,
        "excess_air_pct": air_ratio * 100.0 - 100.0,
        "o2_pct": o2_pct,
        "co2_pct": co2_pct,
        "co2_max_pct": Quantity(fuel.co2_max_pct),
        "co_air_free_ppm": co * dilution * 1e6,
        "co_co2_ratio": ratio,
    }


def _heat(
    rows: Rows, fuel: Fuel, air_ratio: Quantity, dry_flue: Quantity, co: Quantity
) -> dict[str, Quantity]:
    """Water, dew point, condensate and losses per mole of fuel, closed at the intake air's temperature."""
    pressure, air_c, flue_c = (_measured(rows, n) for n in ("pressure_hpa", "air_temp_c", "flue_temp_c"))
    air = air_ratio * fuel.stoich_air_mol_per_mol
    brought = air * _humidity(rows, air_c, pressure)
    total_water = brought + fuel.water_mol_per_mol

    vapour_pressure = pressure * total_water / (dry_flue + total_water)
    dew_point = vapour_pressure.through(*water.dew_point_with_slope(np.asarray(vapour_pressure.value)))
    condensed = (total_water - dry_flue * _saturated(flue_c, pressure)).at_least_zero()

    products, excess, vapour = _heat_rises(fuel, flue_c, air_c)
    warming = (flue_c - air_c) * water.LIQUID_HEAT_CAPACITY_KJ_MOL_K
    sensible = products + (air - fuel.stoich_air_mol_per_mol) * excess + brought * vapour
    sensible = sensible + condensed * (warming - vapour)
    from_25 = air_c - 25.0
    latent_heat = from_25 * water.LATENT_SLOPE_KJ_MOL_K + water.LATENT_KJ_MOL_AT_25_C
    gross = from_25 * fuel.gross_slope_kj_mol_k + fuel.gross_kj_mol
    net = gross - latent_heat * fuel.water_mol_per_mol
    per_gross = 100.0 / gross

    sensible_pct = sensible * per_gross
    latent_pct = (fuel.water_mol_per_mol - condensed) * latent_heat * per_gross
    unburnt_pct = co * dry_flue * CO_KJ_MOL * per_gross
    efficiency = 100.0 - (sensible_pct + latent_pct + unburnt_pct)
    kg_per_kwh = water.MOLAR_MASS_G_MOL * 3.6 / fuel.gross_kj_mol
    return {
        "dew_point_c": dew_point,
        "condensed_pct": condensed * 100.0 / total_water,
        "condensate_kg_per_kwh": condensed * kg_per_kwh,
        "sensible_loss_gross_pct": sensible_pct,
        "latent_loss_gross_pct": latent_pct,
        "unburnt_loss_gross_pct": unburnt_pct,
        "efficiency_gross_pct": efficiency,
        "efficiency_net_pct": efficiency * (gross / net),
    }


def _humidity(rows: Rows, air_c: Quantity, pressure: Quantity) -> Quantity:
    """Water brought by the intake air, mol per mol of dry air; exactly none where the humidity is 0."""
    share = _measured(rows, "air_rh_pct") * 0.01
    dry = (share.value == 0.0) & (share.u == 0.0)
    if dry.all():
        return Quantity(0.0)
    vapour = share * air_c.through(*water.saturation_with_slope(np.asarray(air_c.value)))
    moist = vapour / (pressure - vapour)
    return choose(dry, Quantity(0.0), moist) if dry.any() else moist


def _saturated(flue_c: Quantity, pressure: Quantity) -> Quantity:
    """Vapour that saturates the flue gas at its temperature, mol per mol of dry gas; ample near boiling."""
    held = np.minimum(flue_c.value, water.HIGHEST_C)
    saturation = flue_c.through(*water.saturation_with_slope(np.asarray(held)))
    boiling = np.asarray(saturation.value >= 0.99 * pressure.value)
    if boiling.any():
        saturation = choose(boiling, Quantity(0.99 * pressure.value), saturation)
    return saturation / (pressure - saturation)


def _heat_rises(fuel: Fuel, flue_c: Quantity, air_c: Quantity) -> tuple[Quantity, Quantity, Quantity]:
    """Heat from intake to flue temperature of stoichiometric products, a mole of air, of vapour [kJ]."""
    flue, air = (heat_and_capacity(fuel, np.asarray(t.value)) for t in (flue_c, air_c))
    rises = (
        Quantity(flue[row] - air[row], flue_c.through(0.0, flue[row + 3]).parts)
        - Quantity(0.0, air_c.through(0.0, air[row + 3]).parts)
        for row in range(3)
    )
    products, excess, vapour = rises
    return products, excess, vapour


def _siegert(rows: Rows, fuel: Fuel, oxygen: Quantity) -> dict[str, Quantity]:
    constants = short_formula(fuel)
    if constants is None:
        rows.mark(np.ones(len(rows.flags), dtype=np.bool_), Reason.NO_PUBLISHED_CONSTANTS)
        return {"siegert_loss_net_pct": Quantity(np.nan)}
    rise = _measured(rows, "flue_temp_c") - _measured(rows, "air_temp_c")
    per_kelvin = constants.siegert_a2 / (21.0 - oxygen * 100.0) + constants.siegert_b
    return {"siegert_loss_net_pct": rise * per_kelvin}


def _emissions(
    rows: Rows, fuel: Fuel, oxygen: Quantity, co: Quantity, dry_flue: Quantity, dilution: Quantity
) -> dict[str, Quantity]:
    """CO and NOx (as NO2) per heat by mole balance, and by EPA Method 19 beside it."""
    nox = _measured(rows, "nox_ppm") * 1e-6
    co_mol, nox_mol = co * dry_flue, nox * dry_flue
    per_net = 3.6e6 / fuel.net_kj_mol  # g per kJ of heat to mg per kWh
    per_gross = 1e6 / fuel.gross_kj_mol / NG_PER_J_PER_LB_PER_MMBTU  # g per kJ to lb per MMBtu
    at_3_o2 = (AIR_O2_PCT - 3.0) / AIR_O2_PCT
    fd = epa_fd(fuel)
    to_air_free = EPA_AIR_O2_PCT / (EPA_AIR_O2_PCT - oxygen * 100.0)
    return {
        "co_mg_per_kwh_net": co_mol * (CO_G_MOL * per_net),
        "nox_mg_per_kwh_net": nox_mol * (NO2_G_MOL * per_net),
        "nox_ppm_at_3_o2": nox * dilution * (1e6 * at_3_o2),
        "nox_lb_per_mmbtu": nox_mol * (NO2_G_MOL * per_gross),
        "co_lb_per_mmbtu": co_mol * (CO_G_MOL * per_gross),
        "nox_lb_per_mmbtu_method19": nox * to_air_free * (1e6 * EPA_NOX_LB_PER_DSCF_PPM * fd),
        "co_lb_per_mmbtu_method19": co * to_air_free * (1e6 * EPA_CO_LB_PER_DSCF_PPM * fd),
    }
