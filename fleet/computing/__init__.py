"""Numbers without a record: flue gas, gas rate and gas properties for whoever asks. Nothing is stored.

inputs     what may be asked, and what of it is refused
answers    how a number with its uncertainty is said
flue_gas   the state of flue gas with what it reaches of the safety limits
what_if    another return temperature, another excess air
gas_rate   from a gas meter's hand to heat input
fuels      a gas by composition
"""
