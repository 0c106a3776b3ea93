"""The other trends: what of a burner is followed, against which limits, and when it passes them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import Max, OuterRef, Subquery
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from analytics.drift.quantities import QuantityTrends, passing, quantity_trends
from analytics.estimates import EPOCH, FloatArray, IntArray
from analytics.reading.columns import Columns, EpochDays, Place, columns_read
from analytics.reading.sources import FUELS
from combustion import fuels
from combustion.balance import AIR_O2_PCT
from combustion.trims import HIGH_FIRE_SHARE
from fleet.models import FiringSpec, PartFitted, Point
from fleet.units import MEASURES, Measure
from people.models import Units
from visits.models import FiringTest, Phase

DAYS_A_YEAR = 365.25
PRACTICE = "common practice, no source"
_MJ_PER_KWH = 3.6
_GROSS_MJ_M3 = np.array([fuels.fuel(slug).properties("15/15").gross_mj_m3 for slug in FUELS])
_CO2_MAX_PCT = np.array([fuels.fuel(slug).co2_max_pct for slug in FUELS])


@dataclass(frozen=True)
class Scale:
    """How a person reads a quantity: its unit, what a stored value is multiplied by, its decimals."""

    unit: str
    factor: float
    digits: int


@dataclass(frozen=True)
class Quantity:
    """One quantity that is followed at high fire as found.

    least_per_year: a slope below it is of no consequence (common practice, no source).   low, high: limits of
    common practice where the maker gives none; None without one.   us: what a US reader reads it in, where
    that differs.
    """

    code: str
    name: str | Promise
    unit: str
    digits: int
    least_per_year: float
    of: Callable[[Columns], FloatArray]
    means: str | Promise
    low: float | None = None
    high: float | None = None
    us: Measure | None = None

    def scale(self, units: str = Units.SI) -> Scale:
        """In the person's units."""
        if units == Units.US and self.us is not None:
            return Scale(self.us.unit(units), self.us.factor, self.us.us_decimals)
        return Scale(self.unit, 1.0, self.digits)


def _air_free(read: Columns) -> FloatArray:
    """CO at no excess air, ppm: by O2, else by CO2; NaN beyond half air, where it grows without bound."""
    fuel = np.clip(read["fuel"], 0, None)
    with np.errstate(divide="ignore", invalid="ignore"):
        by_o2 = AIR_O2_PCT / (AIR_O2_PCT - read["o2_pct"])
        by_co2 = _CO2_MAX_PCT[fuel] / read["co2_pct"]
        factor = np.where(np.isfinite(by_o2), by_o2, by_co2)
        return np.where((factor >= 0.9) & (factor <= 2.0), read["co_ppm"] * factor, np.nan)


def _over_nameplate(read: Columns) -> FloatArray:
    fuel = np.clip(read["fuel"], 0, None)
    kw = read["gas_rate_m3_h"] * _GROSS_MJ_M3[fuel] / _MJ_PER_KWH
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(read["input_kw"] > 0, 100.0 * kw / read["input_kw"], np.nan)


QUANTITIES: tuple[Quantity, ...] = (
    Quantity(
        "approach_k", _("flue minus return temperature"), "K", 1, 1.5,
        lambda read: read["flue_temp_c"] - read["return_temp_c"],
        _("rises as the heat exchanger fouls or the flow through it falls"), high=30.0,
        us=MEASURES["return_temp_change_k"],
    ),
    Quantity(
        "rate_pct", _("gas rate over nameplate"), "%", 1, 1.5, _over_nameplate,
        _("at 15 °C and 1013 hPa at the meter; falls with blockage, low pressure or a worn fan"),
        low=90.0, high=110.0,
    ),
    Quantity(
        "flame_signal_ua", _("flame signal"), "µA", 2, 0.15, lambda read: read["flame_signal_ua"],
        _("falls as the rod or its insulation ages; its least is the maker's"),
    ),
    Quantity(
        "inlet_pressure_mbar", _("working inlet pressure"), "mbar", 1, 0.4,
        lambda read: read["inlet_pressure_mbar"], _("falls with the supply, its filter or its governor"),
        us=MEASURES["inlet_pressure_mbar"],
    ),
    Quantity(
        "co_air_free_ppm", _("CO, air-free"), "ppm", 0, 8.0, _air_free,
        _("rises with fouling, a tired burner or a drifted mixture"),
    ),
    Quantity(
        "fan_rpm", _("fan speed at high fire"), "1/min", 0, 60.0, lambda read: read["fan_rpm"],
        _("a fan that must turn faster, or no longer can, meets resistance"),
    ),
)  # fmt: skip
BY_CODE: Mapping[str, Quantity] = {quantity.code: quantity for quantity in QUANTITIES}


@dataclass(frozen=True)
class Limit:
    """A limit that is drawn. source: whose it is."""

    value: float
    upper: bool
    source: str


SafetyOf = Callable[[int], Mapping[str, float]]
"""A customer's id to the safety limits in force, level to investigate, by quantity."""


@dataclass(frozen=True)
class Series:
    """Burners with their readings as found at high fire: times in years since 1970, values per quantity.

    burner, appliance, model, customer (B,).   times (B, T), values: quantity to (B, T), NaN not read.
    begins (B,): the last part fitted, in years; what was read before it is drawn and not counted.
    """

    burner: IntArray
    appliance: IntArray
    model: IntArray
    fuel: IntArray
    times: FloatArray
    values: Mapping[str, FloatArray]
    begins: FloatArray
    high_rpm: FloatArray
    customer: IntArray

    def trends(self, code: str) -> QuantityTrends:
        """Of one quantity, of the present state of each burner."""
        counted = self.times >= self.begins[:, None]
        return quantity_trends(self.times, np.where(counted, self.values[code], np.nan))


def series_read(appliance_ids: Sequence[int] | None = None) -> Series:
    """The first standing test as found at high fire of each visit. Two queries, whatever their number."""
    rows = FiringTest.objects.for_drift().filter(phase=Phase.AS_FOUND, point=Point.HIGH)
    if appliance_ids is not None:
        rows = rows.filter(burner__appliance__in=appliance_ids)
    names = ("flue_temp_c", "return_temp_c", "gas_rate_m3_h", "flame_signal_ua", "inlet_pressure_mbar")
    parts = PartFitted.objects.filter(burner=OuterRef("burner")).order_by().values("burner")
    read = columns_read(
        rows,
        {
            "burner": ("i8", "burner_id"),
            "appliance": ("i8", "visit__appliance_id"),
            "model": ("i8", "visit__appliance__model_id"),
            "customer": ("i8", "visit__appliance__plant__site__customer_id"),
            "fuel": ("i2", Place("fuel", FUELS)),
            "day": ("f8", EpochDays("visit__opened_at")),
            "sequence": ("i4", "sequence"),
            "input_kw": ("f8", "visit__appliance__input_gross_kw"),
            "high_rpm": ("f8", "visit__appliance__model__fan_high_rpm"),
            "begins": ("f8", EpochDays(Subquery(parts.annotate(last=Max("fitted_at")).values("last")))),
            **{name: ("f8", name) for name in (*names, "fan_rpm", "co_ppm", "o2_pct", "co2_pct")},
        },
        few=appliance_ids is not None,
    )
    return _series(read)


def _series(read: Columns) -> Series:
    order = np.lexsort((read["sequence"], read["day"], read["burner"]))
    read = {name: column[order] for name, column in read.items()}
    first = np.ones(len(read["burner"]), np.bool_)
    first[1:] = (np.diff(read["burner"]) != 0) | (np.diff(read["day"]) != 0)
    read = {name: column[first] for name, column in read.items()}
    burners, start, row = np.unique(read["burner"], return_index=True, return_inverse=True)
    column = np.arange(len(row)) - start[row]
    shape = (len(burners), int(column.max(initial=-1)) + 1)

    def spread(values: FloatArray) -> FloatArray:
        grid = np.full(shape, np.nan)
        grid[row, column] = values
        return grid

    return Series(
        burner=burners,
        appliance=read["appliance"][start],
        model=read["model"][start],
        fuel=read["fuel"][start].astype(np.int64),
        times=spread(read["day"] / DAYS_A_YEAR),
        values={quantity.code: spread(quantity.of(read)) for quantity in QUANTITIES},
        begins=np.nan_to_num(read["begins"][start] / DAYS_A_YEAR, nan=-np.inf),
        high_rpm=read["high_rpm"][start],
        customer=read["customer"][start],
    )


def limits_of(series: Series, safety_of: SafetyOf) -> Callable[[int], dict[str, list[Limit]]]:
    """What gives a burner's limits of each quantity: the maker's, else of common practice. One query.

    safety_of: a customer's safety limits in force, with which CO is compared.
    """
    specs = {
        (spec.model_id, spec.fuel): spec
        for spec in FiringSpec.objects.filter(model__in=np.unique(series.model).tolist(), point=Point.HIGH)
    }

    def of(place: int) -> dict[str, list[Limit]]:
        limits = {
            quantity.code: [
                Limit(value, upper, PRACTICE)
                for value, upper in ((quantity.low, False), (quantity.high, True))
                if value is not None
            ]
            for quantity in QUANTITIES
        }
        spec = specs.get((int(series.model[place]), FUELS[int(series.fuel[place])]))
        if spec is not None:
            limits["inlet_pressure_mbar"] = _ends(
                spec.inlet_pressure_low_mbar, spec.inlet_pressure_high_mbar, spec.source
            )
        rpm = float(series.high_rpm[place])
        if np.isfinite(rpm):
            limits["fan_rpm"] = [Limit(HIGH_FIRE_SHARE * rpm, False, "95 % of the model's high speed")]
        safety = safety_of(int(series.customer[place]))
        if "co_air_free_ppm" in safety:
            limits["co_air_free_ppm"] = [Limit(safety["co_air_free_ppm"], True, "safety limit, investigate")]
        return limits

    return of


def _ends(low: float | None, high: float | None, source: str) -> list[Limit]:
    return [Limit(value, upper, source) for value, upper in ((low, False), (high, True)) if value is not None]


@dataclass(frozen=True)
class Passing:
    """When a line passes a limit: at its slope and at both ends of its interval; None not in 5 years."""

    limit: Limit
    on: date | None
    earliest: date | None
    latest: date | None
    passed: bool


def passing_of(trends: QuantityTrends, place: int, last: float, limits: Sequence[Limit]) -> Passing | None:
    """The first limit that a burner's line passes, even at the slope's worse end, or None."""
    best: tuple[float, Passing] | None = None
    for limit in limits:
        level = float(trends.level[place])
        slopes = np.array([trends.slope[place], trends.low[place], trends.high[place]])
        years = passing(level, slopes, limit.value, upper=limit.upper)
        middle, ends = float(years[0]), years[1:]
        if not np.isfinite(years).any():
            continue
        earliest = float(np.nanmin(ends)) if np.isfinite(ends).any() else middle
        latest = float(np.max(ends)) if np.isfinite(ends).all() else np.nan
        told = Passing(limit, _day(last, middle), _day(last, earliest), _day(last, latest), middle == 0.0)
        if best is None or earliest < best[0]:
            best = earliest, told
    return best[1] if best else None


def _day(last: float, ahead: float) -> date | None:
    return EPOCH + timedelta(days=round((last + ahead) * DAYS_A_YEAR)) if np.isfinite(ahead) else None
