"""Flue-gas science for gas burners: pure functions on numbers and arrays, checked against published values.

Shapes broadcast, missing is NaN, units stand in the names, and what cannot be computed raises OutOfRange
naming the field, the value and the limit. Nothing here reads a file or a clock or declares an appliance safe.

errors       OutOfRange
fuels        Fuel, custom_fuel, fuel, FUELS: composition, heat, air, products, EPA F factors
iso6976      COMPONENTS, REFERENCES, gas_properties → GasProperties
balance      air_ratio_from_o2, air_ratio_from_co2, co2_from_o2, o2_from_co2, phi_from_o2, phi_from_co2,
             co2_from_phi, o2_from_phi
readings     Readings, AnalyserSetting, DEFAULTS
reasons      Reason: why a quantity is missing, what is odd about a row
flue_gas     flue_gas_state → FlueGasState, QUANTITIES, quantities
settling     gas_settled → GasSettling, thermally_steady
autocorrelated  window_estimate → WindowEstimate, window_estimates
analyser     AccuracyClass, EN_50379, corrected_reading → Corrected, derived_co2_u_pct, with_class_uncertainty
acceptance   inside_probability, verdict, best_provable, cannot_prove, guarded_limits, health → Health
fuel_line    residual_pct, u_residual_pct, fault_probability
emissions    at_reference_o2, mg_per_m3, per_heat → PerHeat, method19_o2, method19_co2
savings      efficiency_change → Change, yearly → Yearly, Interval
tuning       lost_share, yearly_loss → Loss: what excess air beside its target costs a year
season       ln_gas_factor, ln_air_factor, ln_gas_temp_factor, co2_after, o2_after
metering     clocked_input → ClockedInput, nameplate_share, heat_in_other_basis_kw
altitude     pressure_hpa_at, elevation_m_of, input_share_at, DERATING_RULES
water        saturation_pressure_hpa, dew_point_c, humidity_mol_per_mol, latent_kj_mol
enthalpy     heat_and_capacity
published    short_formula → ShortFormula, epa_fd
units        to_us, from_us, CUSTOMARY
gum          Quantity, choose
trims        the trims of a premix burner with pneumatic ratio control

Formulas, sources and decisions: docs/formulas.md.
"""
