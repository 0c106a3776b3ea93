"""Rows that another device sent otherwise: both sides in words, and what the person chose.

The choice of a row comes back with the form: to keep the other's value the row is left out of the next save,
to put one's own over it the save takes it over.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from fleet.units import MEASURES
from visits.models import VisitItem
from visits.payload import ROWS

PREFIX = "choice-"
THEIRS, MINE = "theirs", "mine"
_SAID_ELSEWHERE = frozenset(
    {"key", "code", "at", "sequence", "phase", "point", "burner", "percent", "readings"}
)


@dataclass(frozen=True)
class Conflict:
    """One row or member: what the form calls it, where it stands, and both sides."""

    name: str
    label: str
    theirs: str
    mine: str

    @property
    def field(self) -> str:
        """The name of its choice in the form."""
        return f"{PREFIX}{self.name}"


def conflicts_of(told: Sequence[Mapping[str, Any]], labels: Mapping[str, str], units: str) -> list[Conflict]:
    """The conflicts of a refused save. labels: what the page calls each row, by its key."""
    return [_conflict(row, labels, units) for row in told]


def choices_of(data: Mapping[str, Any]) -> dict[str, str]:
    """What the person chose, by the name of the row or member; what was left unchosen is not there."""
    return {
        name.removeprefix(PREFIX): data[name]
        for name in data
        if name.startswith(PREFIX) and data[name] in (THEIRS, MINE)
    }


def chosen_body(body: Mapping[str, Any], choices: Mapping[str, str]) -> dict[str, Any]:
    """The body after the choices: without what the other keeps, and naming what is taken over."""
    left_out = {name for name, choice in choices.items() if choice == THEIRS}
    kept = {name: value for name, value in body.items() if name not in left_out}
    for rows in ROWS:
        kept[rows] = [row for row in kept.get(rows, ()) if f"{rows}/{row['key']}" not in left_out]
    mine = sorted(name for name, choice in choices.items() if choice == MINE)
    return {**kept, "take_over": mine} if mine else kept


def _conflict(told: Mapping[str, Any], labels: Mapping[str, str], units: str) -> Conflict:
    name = str(told["field"]).removeprefix("/")
    if isinstance(told["sent"], Mapping):
        name = f"{name.partition('/')[0]}/{told['sent']['key']}"
    label = labels.get(name.partition("/")[2] or name) or name
    return Conflict(name, label, _words(told["stored"], units), _words(told["sent"], units))


def _words(side: Any, units: str) -> str:
    """One side in a line: the last reading of a test, else what the row holds."""
    if not isinstance(side, Mapping):
        return str(side) if side not in (None, "") else _("empty")
    if "withdrawn_reason" in side:
        return _("withdrawn")
    readings = side.get("readings") or [{}]
    said = [
        f"{measure.label} {measure.with_unit(value, units)}"
        for name, measure in MEASURES.items()
        if (value := readings[-1].get(name)) is not None
    ]
    if len(readings) > 1:
        said.insert(0, _("%(number)d readings, the last") % {"number": len(readings)})
    for name, value in side.items():
        if name not in _SAID_ELSEWHERE and value not in (None, "", False):
            said.append(_member(name, value))
    return ", ".join(said) or _("empty")


def _member(name: str, value: Any) -> str:
    if name == "state":
        return str(VisitItem.State(value).label)
    word = name.replace("_", " ")
    return word if value is True else f"{word} «{value}»"
