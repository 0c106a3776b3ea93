"""Quantities as a person reads them: one list of labels, units and decimals for both systems of units.

The stored value is SI and never changes; only what a screen shows does.
Factors: 1 kW = 3.412142 kBtu/h (International Table Btu), 1 mbar = 0.4014631 in WC (conventional inch of
water, 249.0889 Pa), 1 m³ = 35.31467 ft³: NIST SP 811 (2008), appendix B.8, from memory.
"""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from common.problems import Problem, field_error
from people.models import Units


@dataclass(frozen=True)
class Measure:
    """One quantity: what it is called, and its unit, decimals and conversion in each system."""

    label: str | Promise
    si: str
    decimals: int
    us: str | None = None
    us_decimals: int = 0
    factor: float = 1.0
    offset: float = 0.0

    def unit(self, units: str) -> str:
        """The unit as written in a column's head; empty where the quantity has none."""
        return self.us if units == Units.US and self.us is not None else self.si

    def value(self, stored: float, units: str) -> float:
        """The stored SI value in the person's units."""
        if units == Units.US and self.us is not None:
            return stored * self.factor + self.offset
        return stored

    def stored(self, shown: float, units: str) -> float:
        """The SI value of what a person entered in their own units."""
        if units == Units.US and self.us is not None:
            return (shown - self.offset) / self.factor
        return shown

    def text(self, stored: float | None, units: str) -> str:
        """The value as written, without its unit; an en dash where there is none."""
        if stored is None:
            return "–"
        decimals = self.us_decimals if units == Units.US and self.us is not None else self.decimals
        return f"{self.value(stored, units):.{decimals}f}".replace("-", "−")

    def with_unit(self, stored: float | None, units: str) -> str:
        """The value as written with its unit, after a no-break space; an en dash where there is none."""
        text, unit = self.text(stored, units), self.unit(units)
        return f"{text}\u00a0{unit}" if unit and stored is not None else text

    def spread_text(self, spread: float | None, units: str) -> str:
        """A standard uncertainty or difference as written: scaled, never shifted."""
        if spread is None:
            return "–"
        in_us = units == Units.US and self.us is not None
        decimals = self.us_decimals if in_us else self.decimals
        return f"{spread * (self.factor if in_us else 1.0):.{decimals}f}".replace("-", "−")


def _temperature(label: str | Promise) -> Measure:
    return Measure(label, "°C", 1, "°F", 0, 1.8, 32.0)


MEASURES: dict[str, Measure] = {
    "co2_pct": Measure(_("CO2, dry"), "vol %", 2),
    "o2_pct": Measure(_("O2, dry"), "vol %", 2),
    "co_ppm": Measure(_("CO, dry"), "ppm", 0),
    "nox_ppm": Measure(_("NOx, dry"), "ppm", 0),
    "ambient_co_ppm": Measure(_("CO in room air"), "ppm", 0),
    "co_air_free_ppm": Measure(_("CO, air-free"), "ppm", 0),
    "co_co2_ratio": Measure(_("CO/CO2"), "", 4),
    "air_ratio": Measure(_("Air ratio"), "", 3),
    "excess_air_pct": Measure(_("Excess air"), "%", 1),
    "flue_temp_c": _temperature(_("Flue gas temperature")),
    "air_temp_c": _temperature(_("Air temperature at the inlet")),
    "flow_temp_c": _temperature(_("Flow temperature")),
    "return_temp_c": _temperature(_("Return temperature")),
    "dew_point_c": _temperature(_("Dew point")),
    "condensed_pct": Measure(_("Condensed share, estimate"), "%", 0),
    "sensible_loss_gross_pct": Measure(_("Sensible loss, gross"), "%", 2),
    "latent_loss_gross_pct": Measure(_("Latent loss, gross"), "%", 2),
    "efficiency_gross_pct": Measure(_("Combustion efficiency, gross"), "%", 1),
    "efficiency_net_pct": Measure(_("Combustion efficiency, net"), "%", 1),
    "inlet_pressure_mbar": Measure(_("Working inlet pressure"), "mbar", 1, "in WC", 2, 0.4014631),
    "control_pressure_pa": Measure(_("Air signal at high fire"), "Pa", 0, "in WC", 3, 0.004014631),
    "offset_pa": Measure(_("Offset"), "Pa", 1, "in WC", 4, 0.004014631),
    "gas_rate_m3_h": Measure(_("Gas rate at meter conditions"), "m³/h", 2, "ft³/h", 0, 35.31467),
    "flame_signal_ua": Measure(_("Flame signal"), "µA", 1),
    "fan_rpm": Measure(_("Fan speed"), "1/min", 0),
    "input_gross_kw": Measure(_("Input, gross"), "kW", 0, "MBH", 0, 3.412142),
    "elevation_m": Measure(_("Elevation"), "m", 0, "ft", 0, 3.28084),
    "turndown": Measure(_("Turndown"), ": 1", 1),
    "probability_pct": Measure(_("Probability"), "%", 0, factor=1.0),
    "co2_max_pct": Measure(_("CO2max of the fuel"), "vol %", 2),
    "condensate_kg_per_kwh": Measure(_("Condensate, estimate"), "kg/kWh", 3, "lb/therm", 2, 64.61111),
    "unburnt_loss_gross_pct": Measure(_("Loss by unburnt CO, gross"), "%", 2),
    "siegert_loss_net_pct": Measure(_("Flue loss by the short formula, net"), "%", 2),
    "co_mg_per_kwh_net": Measure(_("CO per heat, net"), "mg/kWh", 0),
    "nox_mg_per_kwh_net": Measure(_("NOx per heat, net"), "mg/kWh", 0),
    "nox_ppm_at_3_o2": Measure(_("NOx at 3 % O2"), "ppm", 0),
    "nox_lb_per_mmbtu": Measure(_("NOx per heat, gross"), "lb/MMBtu", 4),
    "co_lb_per_mmbtu": Measure(_("CO per heat, gross"), "lb/MMBtu", 4),
    "fuel_line_residual_pct": Measure(_("CO2 off the fuel line"), "vol %", 2),
    "air_rh_pct": Measure(_("Relative humidity of that air"), "%", 0),
    "pressure_hpa": Measure(_("Air pressure at the site"), "hPa", 0, "inHg", 2, 0.02952998),
    "return_temp_change_k": Measure(_("Return temperature changed by"), "K", 1, "°F", 0, 1.8),
    "full_load_hours": Measure(_("Full-load hours a year"), "h", 0),
    "price_per_kwh_gross": Measure(_("Gas price, gross heat"), "/kWh", 4, "/therm", 3, 29.30711),
    "volume_m3": Measure(_("Volume on the meter"), "m³", 4, "ft³", 2, 35.31467),
    "seconds": Measure(_("Time taken"), "s", 1),
    "meter_temp_c": _temperature(_("Gas temperature at the meter")),
    "meter_gauge_mbar": Measure(_("Gauge pressure at the meter"), "mbar", 1, "in WC", 2, 0.4014631),
    "gross_mj_m3": Measure(_("Supplier's gross heating value, 15/15 °C"), "MJ/m³", 2, "Btu/ft³", 0, 26.83919),
    "nameplate_kw": Measure(_("Input on the nameplate"), "kW", 1, "MBH", 0, 3.412142),
    "rate_m3_h": Measure(_("Rate as the meter turned"), "m³/h", 2, "ft³/h", 0, 35.31467),
    "base_rate_m3_h": Measure(_("Rate at 15 °C and 1013.25 hPa"), "m³/h", 2, "ft³/h", 0, 35.31467),
    "gross_kw": Measure(_("Heat input, gross"), "kW", 1, "MBH", 1, 3.412142),
    "net_kw": Measure(_("Heat input, net"), "kW", 1, "MBH", 1, 3.412142),
    "energy_kwh": Measure(_("Gas saved a year, gross heat"), "kWh", 0, "therm", 0, 0.03412142),
    "annual_gas_kwh": Measure(_("Gas a year, gross heat"), "kWh", 0, "therm", 0, 0.03412142),
    "annual_gas_m3": Measure(_("Gas a year at 15 °C and 1013 hPa"), "m³", 0, "ft³", 0, 35.31467),
    "annual_co2_kg": Measure(_("CO2 a year"), "kg", 0, "lb", 0, 2.204623),
    "co2_kg": Measure(_("CO2 saved a year"), "kg", 0, "lb", 0, 2.204623),
}


BY_UNIT = {
    "mbar": MEASURES["inlet_pressure_mbar"],
    "°C": MEASURES["flue_temp_c"],
    "m3/h": MEASURES["gas_rate_m3_h"],
    "kW": MEASURES["input_gross_kw"],
}
"""How a value is shown of which only the unit is known: an item's, a finding's. Units that are the same in
both systems (%, ppm, 1/min, s) are not in it."""


def units_of(user: object) -> str:
    """The system of units a person chose; SI for nobody."""
    return getattr(user, "units", Units.SI) or Units.SI


def units_asked(asked: str) -> str:
    """The units that an address asks for; empty where it asks for none. Raises Problem `invalid`."""
    if asked and asked not in Units.values:
        detail = f"units must be one of {', '.join(Units.values)}."
        row = field_error("/units", "choice", detail, value=asked, limit=list(Units.values))
        raise Problem("invalid", detail, errors=[row])
    return asked


def two_digits(value: float, *, signed: bool = False) -> str:
    """A figure rounded to two digits and never written with an exponent; a true minus sign."""
    return format(Decimal(f"{value:.2g}"), "+f" if signed else "f").replace("-", "−")


def about(value: float) -> str:
    """A figure with the two or three digits that it is good for; a true minus sign."""
    size = abs(value)
    if size >= 100.0:
        step = 10.0 ** (len(f"{size:.0f}") - 2)
        return f"{round(value / step) * step:,.0f}".replace("-", "−")
    decimals = 0 if size >= 10.0 else 1 if size >= 1.0 else 2
    return f"{value:.{decimals}f}".replace("-", "−")
