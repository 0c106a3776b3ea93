"""The one door to the statistics: what was read goes in, what is stored comes out."""

from datetime import date

from analytics.differences import differences_fit
from analytics.estimates import Estimates
from analytics.models import DriftRun
from analytics.reading import FleetHistory


def fleet_fit(read: FleetHistory, *, as_of: date) -> Estimates:
    """Fit the whole fleet."""
    return differences_fit(read.history)


def appliances_fit(read: FleetHistory, run: DriftRun) -> Estimates:
    """Fit some appliances with what the run learnt of the fleet held."""
    return differences_fit(read.history, held=run.hyperparameters["movement_var"])
