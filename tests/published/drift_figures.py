"""Published figures that the drift statistics are checked against, with source and mark.

All from MEMORY of the sources named: none was read again; the tests find them consistent with the methods.
"""

# NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.4, EWMA example: target 50, s 2.0539, lambda 0.3.
EWMA_TARGET, EWMA_SD, EWMA_WEIGHT = 50.0, 2.0539, 0.3
EWMA_VALUES = [
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
]
EWMA_MEANS = [
    *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
]
EWMA_LIMITS = (47.4115, 52.5884)

# NIST/SEMATECH e-Handbook 6.3.2.3, CUSUM example: target 325, k 0.3175, h 4.1959 in the values' unit.
CUSUM_TARGET, CUSUM_K, CUSUM_H = 325.0, 0.3175, 4.1959
CUSUM_VALUES = [
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
]
CUSUM_FIRST_OUTSIDE = 14
"""Group number of the first upper sum beyond h."""
CUSUM_UPPER_AT_20 = 29.0475
"""Sum of the table's own values: COMPUTED from them; its last printed row agrees to the rounding."""

# Benjamini and Hochberg 1995, the fifteen p-values of the myocardial infarction trial: 4 rejected at 0.05.
BH_P_VALUES = [
    *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
    *(0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000),
]
BH_REJECTED = 4

# Efron and Morris 1977: batting averages of 18 players after 45 at bat; the factor kept is 0.212.
BATTING = [
    *(0.400, 0.378, 0.356, 0.333, 0.311, 0.311, 0.289, 0.267, 0.244, 0.244),
    *(0.222, 0.222, 0.222, 0.222, 0.222, 0.200, 0.178, 0.156),
]
BATTING_SHRINKAGE = 0.212

# Nile flow at Aswan 1871-1970 (Durbin and Koopman section 2.2; Cobb 1978): exact diffuse local level.
NILE_NOISE_VAR, NILE_WALK_VAR = 15099.0, 1469.1
NILE_LOG_LIKELIHOOD = -632.54
"""Diffuse log-likelihood (the first value gives none); statsmodels reports the same up to its constant."""

# NIST StRD, Norris: calibration of ozone monitors, 36 pairs. Data and certified values from MEMORY; the data
# give the certified values to ten figures, COMPUTED in the test.
NORRIS_X = [
    *(0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4),
    *(0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3),
    *(0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5),
]
NORRIS_Y = [
    *(0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3),
    *(0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3),
    *(0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2),
]
NORRIS_SLOPE, NORRIS_INTERCEPT = 1.00211681802045, -0.262323073774029
NORRIS_SLOPE_U, NORRIS_RESIDUAL_SD = 0.429796848199937e-03, 0.884796396144373

# Theil's slope: rainfall ratios of a cloud-seeding trial over five years, Hollander and Wolfe, Nonparametric
# Statistical Methods, example 9.1. MEMORY of the data and of the estimate -0.056.
THEIL_YEARS = (1.0, 2.0, 3.0, 4.0, 5.0)
THEIL_RATIOS = (1.26, 1.27, 1.12, 1.16, 1.03)
THEIL_SLOPE = -0.056
