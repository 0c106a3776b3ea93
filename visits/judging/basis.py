"""What visits are judged by, watched: specs, limits and supplied gas that changed since the tick last looked.

Whatever door a row came in by (page, list, REST, shell), the tick sees that it says something else now.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django.db import transaction

from fleet.models import FiringSpec, SafetyLimit, SuppliedGas
from visits.judging.asking import judgement_ask
from visits.models import JudgedBasis, JudgeDuty

Cause = JudgeDuty.Cause
Rows = Mapping[str, Mapping[str, str]]
"""Subject to the key of each of its rows to a hash of the row's values. A dated row's key begins with it."""
SEEN = ""
"""Subject of the row that says that a cause is being watched: before it, nothing counts as changed."""
_SPEC = (
    "target_low_co2_pct", "target_high_co2_pct", "accept_low_co2_pct", "accept_high_co2_pct",
    "below_high_fire_low_pct", "below_high_fire_high_pct", "co_max_ppm", "inlet_pressure_low_mbar",
    "inlet_pressure_high_mbar", "flue_temp_max_c",
)  # fmt: skip


def basis_watch() -> int:
    """Ask for what changed specs, limits and gases bear on to be judged again. Returns how many duties."""
    known: dict[tuple[str, str], JudgedBasis] = {
        (row.cause, row.subject): row for row in JudgedBasis.objects.all()
    }
    return sum(_watch(cause, rows, known) for cause, rows in _now())


def _watch(cause: Cause, rows: Rows, known: Mapping[tuple[str, str], JudgedBasis]) -> int:
    watched = (cause, SEEN) in known
    before = {subject: row.rows for (of, subject), row in known.items() if of == cause and subject != SEEN}
    moved = [subject for subject in {*before, *rows} if before.get(subject, {}) != rows.get(subject, {})]
    if watched and not moved:
        return 0
    with transaction.atomic():
        for subject in sorted(moved):
            now = dict(rows.get(subject, {}))
            JudgedBasis.objects.update_or_create(cause=cause, subject=subject, defaults={"rows": now})
            if watched:
                judgement_ask(cause, subject, from_on=_from(before.get(subject, {}), now))
        if not watched:
            JudgedBasis.objects.get_or_create(cause=cause, subject=SEEN)
    return len(moved) if watched else 0


def _from(before: Mapping[str, str], now: Mapping[str, str]) -> date | None:
    """The first day that a changed row bears on; None where rows have no day."""
    changed = [key for key in {*before, *now} if before.get(key) != now.get(key)]
    days = [key.split("|")[0] for key in changed]
    return min((date.fromisoformat(day) for day in days if day), default=None)


def _now() -> Iterable[tuple[Cause, Rows]]:
    """What the tables say; three queries."""
    specs = FiringSpec.objects.order_by("pk").values("model", "fuel", "point", "percent", *_SPEC)
    yield (
        Cause.SPECS,
        _hashed(
            (str(row.pop("model")), f"|{row['fuel']}|{row['point']}|{row['percent']}", row) for row in specs
        ),
    )
    limits = SafetyLimit.objects.order_by("pk").values_list(
        "country", "customer", "in_force_on", "quantity", "level", "value"
    )
    yield (
        Cause.LIMITS,
        _hashed(
            (f"{country}:{customer or ''}", f"{on.isoformat()}|{quantity}|{level}", value)
            for country, customer, on, quantity, level, value in limits
        ),
    )
    gases = SuppliedGas.objects.order_by("pk").values_list(
        "site", "gas_area", "from_on", "fuel", "composition"
    )
    yield (
        Cause.GAS,
        _hashed(
            (f"site:{site}" if site else f"area:{area}", f"{on.isoformat()}|{fuel}", composition)
            for site, area, on, fuel, composition in gases
        ),
    )


def _hashed(rows: Iterable[tuple[str, str, Any]]) -> Rows:
    found: defaultdict[str, dict[str, str]] = defaultdict(dict)
    for subject, key, values in rows:
        text = json.dumps(values, sort_keys=True)
        found[subject][key] = hashlib.sha256(text.encode()).hexdigest()[:16]
    return found
