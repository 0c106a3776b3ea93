"""An analyser's log as it is pasted: a plain table of text, read as the readings of a stream. Pure."""

from visits.analyser_log.columns import SECONDS, TIME, columns_guess
from visits.analyser_log.readings import Clock, log_readings
from visits.analyser_log.table import LogRefused, Table, table_of

__all__ = [
    "SECONDS",
    "TIME",
    "Clock",
    "LogRefused",
    "Table",
    "columns_guess",
    "log_readings",
    "table_of",
]
