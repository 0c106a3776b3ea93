"""Ratios measured in one run, printed by `make bench`. Never part of the test suite."""
