"""The measured columns of a reading and of a firing test: one list, so that no door forgets one."""

MEASURED: dict[str, str] = {
    "co2_pct": "CO2, dry vol %",
    "o2_pct": "O2, dry vol %",
    "co_ppm": "CO, dry ppm",
    "nox_ppm": "NOx, dry ppm",
    "flue_temp_c": "flue gas temperature, °C",
    "air_temp_c": "air temperature at the burner's inlet, °C",
    "flow_temp_c": "flow water temperature, °C",
    "return_temp_c": "return water temperature, °C",
    "inlet_pressure_mbar": "working gas inlet pressure, mbar",
    "gas_rate_m3_h": "gas rate at meter conditions, m³/h",
    "flame_signal_ua": "flame signal, µA",
    "fan_rpm": "fan speed, 1/min",
    "ambient_co_ppm": "CO in room air, ppm",
}
MEASURED_FIELDS: tuple[str, ...] = tuple(MEASURED)
