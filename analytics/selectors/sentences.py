"""What the drift work found, in plain sentences."""

from datetime import date

from django.utils.formats import date_format

from analytics.models import Reason, TrimDrift
from analytics.trim_scale import TrimScale, trim_scale
from people.models import Units

WANDERS_FROM = 0.5
NEARLY_SURE = 0.995


def trim_sentence(row: TrimDrift, *, units: str = Units.SI) -> str:
    """One trim: whether it wanders, how far it moves against its peers, how it drifts, what explains it.

    In the reader's units.
    """
    name = f"{row.get_trim_display().capitalize()} trim"
    if row.reason:
        return f"{name}: no estimate ({Reason(row.reason).label})."
    scale = trim_scale(row.unit, units)
    moved, usual = row.moved_per_year, row.usual_per_year
    parts = [f"{name}: {_wander_words(row)}."]
    if moved is not None and usual is not None:
        against = f"Moved {_size(moved, scale)} a year against {_size(usual, scale)} for its peers"
        parts.append(f"{against}{_explained(row, scale)}.")
    drift = (row.drift_per_year, row.drift_low, row.drift_high)
    middle, low, high = (scale.rough(value, signed=True) for value in drift if value is not None)
    parts.append(f"Drifts {middle} {scale.words} a year (95 %: {low} to {high}).")
    parts += [f"Jumped before {_day(day)} ({_chance(chance)})." for day, chance in row.change_points]
    return " ".join(parts)


def _size(value: float, scale: TrimScale) -> str:
    return f"{scale.rough(value)} {scale.words}"


def _wander_words(row: TrimDrift) -> str:
    if row.wander_probability is None:
        return "drift only, not yet judged for wander"
    chance = _chance(row.wander_probability)
    if row.flagged:
        return f"wanders ({chance})"
    if row.wander_probability >= WANDERS_FROM:
        return f"may wander ({chance}); not flagged, since too many such flags would be false"
    return f"steady ({chance} of wandering)"


def _explained(row: TrimDrift, scale: TrimScale) -> str:
    if row.from_analyser_per_year is None or row.from_gas_per_year is None:
        return ""
    explained = (row.from_analyser_per_year**2 + row.from_gas_per_year**2) ** 0.5
    return f"; what the analyser and the district's gas explain ({_size(explained, scale)}) is taken off"


def _day(iso: str) -> str:
    return date_format(date.fromisoformat(iso), "j M Y")


def _chance(probability: float) -> str:
    """Never a claim of certainty."""
    if probability > NEARLY_SURE:
        return "probability over 0.99"
    if probability < 1.0 - NEARLY_SURE:
        return "probability under 0.01"
    return f"probability {probability:.2f}"
