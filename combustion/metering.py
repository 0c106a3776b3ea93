"""From the hand of a gas meter to heat input."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from combustion.arrays import F64, as_float, refuse
from combustion.errors import OutOfRange
from combustion.fuels import Fuel
from combustion.gum import Quantity
from combustion.iso6976 import ZERO_CELSIUS_K

_BASE_C: Final = 15.0
_BASE_HPA: Final = 1013.25


@dataclass(frozen=True)
class ClockedInput:
    """Heat input from a clocked meter, each with its u (k = 1). Limits: a result. Source: ISO 6976.

    rate_m3_h: as the meter turned.   base_rate_m3_h: at 15 °C and 1013.25 hPa.   gross_kw, net_kw: heat input
    on gross and net heating value.
    """

    rate_m3_h: F64
    u_rate_m3_h: F64
    base_rate_m3_h: F64
    u_base_rate_m3_h: F64
    gross_kw: F64
    u_gross_kw: F64
    net_kw: F64
    u_net_kw: F64


def clocked_input(
    volume_m3: ArrayLike,
    seconds: ArrayLike,
    fuel: Fuel,
    *,
    meter_temp_c: ArrayLike = 15.0,
    meter_gauge_mbar: ArrayLike = 0.0,
    pressure_hpa: ArrayLike = 1013.25,
    gross_mj_m3: ArrayLike | None = None,
    u_volume_m3: ArrayLike = 0.0,
    u_seconds: ArrayLike = 0.0,
    u_meter_temp_c: ArrayLike = 0.0,
    u_meter_gauge_mbar: ArrayLike = 0.0,
    u_pressure_hpa: ArrayLike = 0.0,
    u_gross_mj_m3: ArrayLike = 0.0,
) -> ClockedInput:
    """Heat input of whatever gas passed the meter: only the burner tested may run.

    volume_m3 in seconds, at the meter's temperature and gauge pressure and the site's air pressure.
    gross_mj_m3: the supplier's gross heating value at 15/15 °C (default: from the composition; net follows
    its ratio). u_…: standard uncertainties. Shapes broadcast; NaN gives NaN.   Limits: volume and seconds
    above 0, meter -40 to 60 °C, gauge 0 to 10,000 mbar, 500 to 1100 hPa, else OutOfRange. Ideal gas between
    meter and base. Source: ISO 6976:2016; 3600 x volume / time.

    >>> from combustion.fuels import FUELS
    >>> round(float(clocked_input(0.1, 36.0, FUELS["methane"]).gross_kw), 1)
    104.9
    """
    volume = _checked("volume_m3", volume_m3, u_volume_m3, 0.0, np.inf, open_below=True)
    time = _checked("seconds", seconds, u_seconds, 0.0, np.inf, open_below=True)
    temp = _checked("meter_temp_c", meter_temp_c, u_meter_temp_c, -40.0, 60.0)
    gauge = _checked("meter_gauge_mbar", meter_gauge_mbar, u_meter_gauge_mbar, 0.0, 10_000.0)
    site = _checked("pressure_hpa", pressure_hpa, u_pressure_hpa, 500.0, 1100.0)
    properties = fuel.properties("15/15")
    u_composition = properties.u_gross_mj_m3 if gross_mj_m3 is None else u_gross_mj_m3
    heat = properties.gross_mj_m3 if gross_mj_m3 is None else gross_mj_m3
    gross = _checked("gross_mj_m3", heat, u_composition, 0.0, 200.0, open_below=True)

    rate = volume * 3600.0 / time
    base = rate * (site + gauge) * ((_BASE_C + ZERO_CELSIUS_K) / _BASE_HPA) / (temp + ZERO_CELSIUS_K)
    gross_kw = base * gross * (1.0 / 3.6)
    net_kw = gross_kw * (properties.net_mj_m3 / properties.gross_mj_m3)
    results = (rate, base, gross_kw, net_kw)
    return ClockedInput(*(a for q in results for a in (np.asarray(q.value), q.u)))


def nameplate_share(
    input_kw: ArrayLike, nameplate_kw: ArrayLike, u_input_kw: ArrayLike = 0.0, share_at_site: ArrayLike = 1.0
) -> tuple[F64, F64]:
    """Measured input over what the nameplate allows at the site [-], and its standard uncertainty.

    input_kw, nameplate_kw: one basis, both gross or both net.   share_at_site: what altitude derating leaves,
    see combustion.altitude. Shapes broadcast.   Limits: nameplate and share above 0, else OutOfRange.
    Source: definition.

    >>> share, u = nameplate_share(95.0, 100.0, 2.0)
    >>> round(float(share), 3), round(float(u), 3)
    (0.95, 0.02)
    """
    allowed = as_float(nameplate_kw) * as_float(share_at_site)
    refuse("nameplate_kw", allowed, ~(allowed > 0.0), "nameplate_kw above 0, share_at_site above 0")
    return as_float(input_kw) / allowed, as_float(u_input_kw) / allowed


def heat_in_other_basis_kw(input_kw: ArrayLike, fuel: Fuel, *, given: str) -> F64:
    """Input [kW] given "gross" turned to net, or given "net" turned to gross. Limits: those two words.

    Any shape.   Source: ISO 6976:2016 at 25 °C.

    >>> from combustion.fuels import FUELS
    >>> round(float(heat_in_other_basis_kw(100.0, FUELS["methane"], given="net")), 1)
    111.0
    """
    if given not in ("gross", "net"):
        raise OutOfRange("given", given, "gross or net")
    ratio = fuel.gross_kj_mol / fuel.net_kj_mol
    return as_float(input_kw) * (1.0 / ratio if given == "gross" else ratio)


def _checked(
    name: str, value: ArrayLike, u: ArrayLike, lowest: float, highest: float, *, open_below: bool = False
) -> Quantity:
    values = as_float(value)
    below = values <= lowest if open_below else values < lowest
    limit = f"{lowest:g} {'<' if open_below else '<='} {name} <= {highest:g}"
    refuse(name, values, below | (values > highest), limit)
    return Quantity.measured(name, values, as_float(u))
