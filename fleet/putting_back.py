"""Which settings a test of an appliance usually alters: chosen from data by a pure function."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from fleet.models import PutBackSuggestion, Season

# October to April in the northern hemisphere: common practice, no source.
_HEATING_MONTHS = frozenset({10, 11, 12, 1, 2, 3, 4})


@dataclass(frozen=True)
class Facts:
    """What decides it: the model and kind, the plant's sequencing, the season, and the units by name."""

    model_id: int
    kind: str
    sequencing: str
    season: str
    unit: str
    other_units: Sequence[str] = ()


@dataclass(frozen=True)
class Change:
    """One setting to confirm. `unit` is empty for the plant's own controls."""

    key: str
    code: str
    unit: str
    what: str
    set_to: str
    caution: str
    source: str
    mark: str


def season_on(day: date, latitude: float | None) -> Season:
    """The season at a site. Without a latitude the northern hemisphere is taken."""
    month = day.month if latitude is None or latitude >= 0 else (day.month + 5) % 12 + 1
    return Season.HEATING if month in _HEATING_MONTHS else Season.SUMMER


def changes_suggested(rows: Iterable[PutBackSuggestion], facts: Facts) -> list[Change]:
    """The settings to confirm, in the order in which they are changed. Pure."""
    chosen: dict[str, PutBackSuggestion] = {}
    for row in sorted((row for row in rows if _applies(row, facts)), key=_particularity):
        chosen[row.code] = row
    kept = sorted((row for row in chosen.values() if row.suggested), key=lambda row: (row.position, row.code))
    return [_change(row, unit, facts) for row in kept for unit in _units(row, facts)]


def _applies(row: PutBackSuggestion, facts: Facts) -> bool:
    return (
        row.model_id in (None, facts.model_id)
        and row.kind in ("", facts.kind)
        and row.sequencing in ("", facts.sequencing)
        and row.season in ("", facts.season)
    )


def _particularity(row: PutBackSuggestion) -> tuple[bool, int]:
    return row.model_id is not None, sum(map(bool, (row.kind, row.sequencing, row.season)))


def _units(row: PutBackSuggestion, facts: Facts) -> Sequence[str]:
    if row.scope == PutBackSuggestion.Scope.OTHERS:
        return facts.other_units
    return [facts.unit if row.scope == PutBackSuggestion.Scope.THIS else ""]


def _change(row: PutBackSuggestion, unit: str, facts: Facts) -> Change:
    """Another unit is named in words, for a temporary change has no column for it."""
    other = row.scope == PutBackSuggestion.Scope.OTHERS
    key = f"suggested:{row.code}:{unit}" if other else f"suggested:{row.code}"
    what = f"{unit}: {row.what[:1].lower()}{row.what[1:]}" if other else row.what
    return Change(key[:64], row.code, unit, what[:120], row.set_to, row.caution, row.source, row.mark)
