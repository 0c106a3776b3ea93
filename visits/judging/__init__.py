"""Judging: what the readings of a visit mean. `engine` is pure; `load` and `store` are its two ends."""

from visits.judging.store import judge_visits

__all__ = ["judge_visits"]
