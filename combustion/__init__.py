"""Flue-gas science for gas burners: pure functions on numbers and arrays, checked against published values.

Shapes broadcast, missing is NaN, units stand in the names, and what cannot be computed raises OutOfRange
naming the field, the value and the limit. Nothing here reads a file or a clock or declares an appliance safe.

errors       OutOfRange
fuels        Fuel, custom_fuel, fuel, FUELS · AIR_O2_FRACTION
iso6976      COMPONENTS, REFERENCES, GasProperties, gas_properties
balance      air_ratio_from_o2, air_ratio_from_co2, co2_from_o2, o2_from_co2, phi_from_o2, phi_from_co2,
             co2_from_phi, o2_from_phi
acceptance   inside_probability, verdict, best_provable, cannot_prove, guarded_limits, health → Health

Formulas, sources and decisions: docs/formulas.md.
"""
