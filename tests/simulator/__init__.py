"""A fleet of premix burners with known truth: readings as arrays for the statistics or as import rows.

Its physics is richer than the estimator's: another gas than the short relation assumes, another turndown and
control pressure than believed, noise that need not be Gaussian, lost visits, clumsy adjustments and analysers
repaired in the middle of a period. All magnitudes are assumptions, invented for testing.
"""
