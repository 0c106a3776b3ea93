"""A simulated fleet as the arrays the statistics take, read back by the short relation only."""

from __future__ import annotations

import numpy as np

from analytics.drift.history import History
from tests.simulator.fleet import Fleet
from tests.simulator.physics import short_ln_phi_per_co2_pct, short_phi


def history_of(fleet: Fleet) -> History:
    """What a firm would know: believed turndown and pressure, phi by the short relation, believed noise."""
    o, visits = fleet.options, fleet.visits
    noise = o.believed_noise_factor * o.noise_co2_pct / np.sqrt(o.readings)
    rate = 1.0 / fleet.believed_turndown[visits.appliance]
    return History(
        appliance=np.arange(o.appliances),
        model=fleet.model,
        control_pressure_pa=fleet.believed_signal_pa,
        burner=visits.appliance,
        day=visits.day,
        area=visits.area,
        month=visits.month,
        fuel=np.zeros(len(visits.day), np.int64),
        new_state=np.zeros(len(visits.day), np.bool_),
        found_phi=short_phi(visits.found_co2_pct),
        found_var=(noise * short_ln_phi_per_co2_pct(visits.found_co2_pct)) ** 2,
        left_phi=short_phi(visits.left_co2_pct),
        left_var=(noise * short_ln_phi_per_co2_pct(visits.left_co2_pct)) ** 2,
        moved_before=np.zeros((len(visits.day), 2), np.bool_),
        adjusted=visits.adjusted,
        low_air_rate=np.stack([rate, rate], axis=1),
        air_temp_c=np.stack([visits.air_temp_c, visits.air_temp_c], axis=1),
        period=np.stack([visits.period, visits.period], axis=1),
    )
