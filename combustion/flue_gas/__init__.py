"""The full state of flue gas from a few readings, with the uncertainty of every result.

Complete combustion of all but the measured CO, no dissociation; ideal gases; flue gas at site pressure.
state: the result and the way to it · channels: which readings tell the air ratio · heat: water, dew point,
losses · rates: CO and NOx per heat, the short formula. Formulas and sources: docs/formulas.md.
"""

from combustion.flue_gas.state import (
    BLOCKED_BY,
    QUANTITIES,
    FlueGasState,
    flue_gas_state,
    quantities,
)

__all__ = ["BLOCKED_BY", "QUANTITIES", "FlueGasState", "flue_gas_state", "quantities"]
