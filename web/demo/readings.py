"""What is written down of a firing: the measured columns, from the truth and the analyser. Pure arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from combustion.balance import o2_from_co2
from combustion.fuels import FUELS
from web.demo.physics import F64, FUEL_SLUGS, PART_RATE, Bool, Burners, Grid, History, Int

COLUMNS = (
    "co2_pct",
    "o2_pct",
    "co_ppm",
    "nox_ppm",
    "flue_temp_c",
    "air_temp_c",
    "flow_temp_c",
    "return_temp_c",
    "inlet_pressure_mbar",
    "gas_rate_m3_h",
    "flame_signal_ua",
    "fan_rpm",
    "ambient_co_ppm",
)
DECIMALS = (2, 2, 0, 0, 1, 1, 1, 1, 1, 2, 1, 0, 0)
INLET_MBAR = (20.0, 37.0)
"""Working inlet pressure on natural gas and on propane: common practice, no source."""


@dataclass
class Nameplate:
    """Per burner, for what is read beside CO2. fan_* NaN where the model has no fan speed."""

    input_gross_kw: F64
    condensing: Bool
    fan_high_rpm: F64
    fan_low_rpm: F64


def outdoor_c(day_of_year: F64) -> F64:
    """Outdoor air over the year, °C, coldest in late January: an invented climate."""
    return 10.5 - 6.5 * np.cos(2.0 * np.pi * (day_of_year - 22.0) / 365.25)


def intake_c(day_of_year: F64, source: Int, draw: np.random.Generator) -> F64:
    """Air at the burner's inlet, °C. source: 0 room, 1 ducted, 2 concentric."""
    outdoor = outdoor_c(day_of_year) + draw.normal(0.0, 2.5, day_of_year.shape)
    return np.select(
        [source == 1, source == 2], [outdoor + 1.0, outdoor + 5.0], default=20.0 + 0.3 * (outdoor - 10.0)
    )


def co_ppm(phi: F64) -> F64:
    """CO, dry ppm, of a sound burner at phi: some at the usual setting, steeply more towards rich."""
    rich = np.exp(np.clip((phi - 0.79) / 0.035, -6.0, 6.0))
    lean = np.exp(np.clip((0.60 - phi) / 0.05, -6.0, 4.0))
    return np.asarray(18.0 + 10.0 * rich + 20.0 * lean)


def measured_columns(
    burners: Burners,
    plate: Nameplate,
    grid: Grid,
    history: History,
    air_temp_c: F64,
    draw: np.random.Generator,
) -> F64:
    """All measured columns, shape (n, v, phase, point, 13) in the order of COLUMNS; NaN: not read."""
    shape = history.co2_read.shape
    read = ~np.isnan(history.co2_read)
    noise = draw.standard_normal((7, *shape))
    high = (np.arange(3) == 0)[None, None, None, :]
    found = (np.arange(2) == 0)[None, None, :, None]
    rate = np.stack([np.ones(len(burners)), 1 / burners.turndown, np.full(len(burners), PART_RATE)], -1)
    rate = rate[:, None, None, :]

    co = np.clip(co_ppm(np.nan_to_num(history.phi, nan=0.7)) * np.exp(0.18 * noise[0]), 1.0, 5000.0)
    return_c = np.where(plate.condensing, 42.0, 62.0)[:, None, None, None] + 5.0 * noise[1][:, :, :1, :1]
    flow_c = return_c + 3.0 + 15.0 * rate + 0.5 * noise[2]
    approach = np.where(plate.condensing, 9.0, 95.0)[:, None, None, None] * (0.35 + 0.65 * rate)
    flue_c = return_c + approach + np.where(found, 2.0, 0.0) + 1.2 * noise[3]
    inlet = np.array(INLET_MBAR)[burners.fuel][:, None, None, None] - 1.2 * rate + 0.4 * noise[4]
    fan = plate.fan_low_rpm[:, None, None, None] + (plate.fan_high_rpm - plate.fan_low_rpm)[
        :, None, None, None
    ] * np.clip((rate - rate[..., 1:2]) / (1.0 - rate[..., 1:2]), 0.0, 1.0)
    columns = [
        history.co2_read,
        _o2(burners, history.co2_read, co),
        co,
        np.full(shape, np.nan),
        flue_c,
        np.broadcast_to(air_temp_c[:, :, None, None], shape),
        flow_c,
        return_c,
        np.where(high | found, inlet, np.nan),
        np.where(high, _gas_rate(burners, plate)[:, None, None, None] * (1 + 0.015 * noise[5]), np.nan),
        np.clip(8.5 - 2.0 * (1.0 - rate) + 0.7 * noise[6], 1.0, 20.0),
        fan * (1.0 + 0.004 * noise[5]),
        np.where(high & found, 0.0, np.nan),
    ]
    stacked = np.stack([np.broadcast_to(column, shape) for column in columns], axis=-1)
    stacked = np.where(read[..., None], stacked, np.nan)
    scale = 10.0 ** np.array(DECIMALS)
    return np.asarray(np.round(stacked * scale) / scale)


def _o2(burners: Burners, co2_read: F64, co: F64) -> F64:
    """The O2 that goes with the CO2 shown: one sensor's error is the other's."""
    out = np.full(co2_read.shape, np.nan)
    for position, slug in enumerate(FUEL_SLUGS):
        rows = burners.fuel == position
        if rows.any():
            most = FUELS[slug].co2_max_pct * 0.999
            out[rows] = o2_from_co2(np.clip(co2_read[rows], 0.1, most), FUELS[slug], co[rows])
    return np.asarray(np.clip(out, 0.0, 20.9))


def _gas_rate(burners: Burners, plate: Nameplate) -> F64:
    """Gas at full rate, m³/h at 15 °C, from the nameplate's gross input."""
    gross_mj_m3 = np.array([FUELS[slug].properties("15/15").gross_mj_m3 for slug in FUEL_SLUGS])
    return np.asarray(plate.input_gross_kw * 3.6 / gross_mj_m3[burners.fuel])
