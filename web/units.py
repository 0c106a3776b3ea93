"""Quantities as a person reads them, under the name by which the pages know them."""

from fleet.units import MEASURES, Measure, units_of

__all__ = ["MEASURES", "Measure", "units_of"]
