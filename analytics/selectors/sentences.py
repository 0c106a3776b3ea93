"""What the drift work found, in plain sentences."""

from analytics.models import Reason, TrimDrift, Unit

UNIT_WORDS = {
    Unit.PCT_OF_K.value: "%",
    Unit.PASCAL.value: "Pa",
    Unit.MILLI_W.value: "thousandths of the air signal",
}
WANDERS_FROM = 0.5
NEARLY_SURE = 0.995


def trim_sentence(row: TrimDrift) -> str:
    """One trim: whether it wanders, how far it moves against its peers, how it drifts, what explains it."""
    name = f"{row.get_trim_display().capitalize()} trim"
    if row.reason:
        return f"{name}: no estimate ({Reason(row.reason).label})."
    unit = UNIT_WORDS[row.unit]
    moved, usual = row.moved_per_year, row.usual_per_year
    parts = [f"{name}: {_wander_words(row)}."]
    if moved is not None and usual is not None:
        against = f"Moved {moved:.2g} {unit} a year against {usual:.2g} {unit} for its peers"
        parts.append(f"{against}{_explained(row)}.")
    interval = f"(95 %: {row.drift_low:+.2g} to {row.drift_high:+.2g})"
    parts.append(f"Drifts {row.drift_per_year:+.2g} {unit} a year {interval}.")
    parts += [f"Jumped before {day} ({_chance(chance)})." for day, chance in row.change_points]
    return " ".join(parts).replace(" -", " −")


def _wander_words(row: TrimDrift) -> str:
    if row.wander_probability is None:
        return "drift only, not yet judged for wander"
    chance = _chance(row.wander_probability)
    if row.flagged:
        return f"wanders ({chance})"
    if row.wander_probability >= WANDERS_FROM:
        return f"may wander ({chance}); not flagged, since too many such flags would be false"
    return f"steady ({chance} of wandering)"


def _explained(row: TrimDrift) -> str:
    if row.from_analyser_per_year is None or row.from_gas_per_year is None:
        return ""
    explained = (row.from_analyser_per_year**2 + row.from_gas_per_year**2) ** 0.5
    return f"; the analyser and the district's gas explain {explained:.2g} {UNIT_WORDS[row.unit]} of it"


def _chance(probability: float) -> str:
    """Never a claim of certainty."""
    if probability > NEARLY_SURE:
        return "probability over 0.99"
    if probability < 1.0 - NEARLY_SURE:
        return "probability under 0.01"
    return f"probability {probability:.2f}"
