"""What the drift work found, in plain sentences."""

from analytics.models import Reason, TrimDrift, Unit

UNIT_PER_YEAR = {
    Unit.PCT_OF_K.value: "% a year",
    Unit.PASCAL.value: "Pa a year",
    Unit.MILLI_W.value: "thousandths of the air signal a year",
}
WANDERS_FROM = 0.5


def trim_sentence(row: TrimDrift) -> str:
    """One trim: whether it wanders, how far it moves against its peers, how it drifts, what explains it."""
    name = f"{row.get_trim_display().capitalize()} trim"
    if row.reason:
        return f"{name}: no estimate ({Reason(row.reason).label})."
    unit = UNIT_PER_YEAR[row.unit]
    parts = [f"{name}: {_wander_words(row)}."]
    if row.moved_per_year is not None and row.usual_per_year is not None:
        parts.append(
            f"Moved {row.moved_per_year:.2g} {unit} against {row.usual_per_year:.2g} for its peers"
            f"{_explained(row)}."
        )
    parts.append(
        f"Drifts {row.drift_per_year:+.2g} {unit} (95 %: {row.drift_low:+.2g} to {row.drift_high:+.2g})."
    )
    parts += [f"Jumped before {day} (probability {chance:.2f})." for day, chance in row.change_points]
    return " ".join(parts)


def _wander_words(row: TrimDrift) -> str:
    if row.wander_probability is None:
        return "drift only, not yet judged for wander"
    chance = f"probability {row.wander_probability:.2f}"
    if row.flagged:
        return f"wanders ({chance})"
    if row.wander_probability >= WANDERS_FROM:
        return f"may wander ({chance}); not flagged, since too many such flags would be false"
    return f"steady ({chance} of wandering)"


def _explained(row: TrimDrift) -> str:
    if row.from_analyser_per_year is None or row.from_gas_per_year is None:
        return ""
    explained = (row.from_analyser_per_year**2 + row.from_gas_per_year**2) ** 0.5
    return f"; the analyser and the district's gas explain {explained:.2g} of it"
