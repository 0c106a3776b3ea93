"""From the database to the arrays of `analytics.drift`."""

from analytics.reading.history import FleetHistory, Numbering, history_read

__all__ = ["FleetHistory", "Numbering", "history_read"]
