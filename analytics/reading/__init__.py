"""From the database to the arrays of `analytics.drift`."""

from analytics.reading.history import FleetHistory, history_read

__all__ = ["FleetHistory", "history_read"]
