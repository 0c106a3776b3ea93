"""Published limits of carbon monoxide: figure, unit, source, and how the figure was had."""

# READ (secondary: quoted in trade literature): ANSI Z21.47-1998 and the Z21 series, vented appliances.
ANSI_VENTED_CO_AIR_FREE_PPM = 400.0

# READ (secondary): HHIC / Gas Safe Technical Bulletin 143, condensing boiler without a maker's figure.
UK_COMMISSIONING_CO_PPM = 350.0
UK_COMMISSIONING_CO_CO2_RATIO = 0.0040

# READ: NIOSH criteria document 1972, time-weighted average and ceiling.
NIOSH_CO_TWA_PPM = 35.0
NIOSH_CO_CEILING_PPM = 200.0

# READ: OSHA fact sheet on maritime work, level at which people are taken out.
OSHA_MARITIME_REMOVAL_CO_PPM = 100.0
