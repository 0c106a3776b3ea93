"""What to put back: suggested temporary changes, each with what it was when somebody last noted it."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.db.models import F

from common.prepared import Among, Prepared
from fleet.models import Appliance, PutBackSuggestion
from fleet.models.safety import OFF
from fleet.putting_back import Facts, changes_suggested, season_on
from visits.models import TemporaryChange

_suggestions = Prepared(PutBackSuggestion.objects.all)
_noted = Prepared(
    lambda: (
        TemporaryChange.objects.filter(Among("visit__appliance", "appliances"), withdrawn_reason="")
        .exclude(was="")
        .annotate(appliance_id=F("visit__appliance"))
        .only("what", "was")
        .order_by("visit__opened_at", "pk")
    )
)
CAUTION = "Put every setting back before leaving, and see the plant run in its normal control."


def suggestions(appliance: Appliance, on: date) -> list[dict[str, Any]]:
    """The settings that a test of the appliance on a day usually alters, in order, ready to be confirmed.

    Each is a row of a visit's `temporary_changes` (`key`, `what`, `set_to`, and `was` as last noted on this
    appliance, empty where nobody did) with its unit, caution and source. The appliance comes with model,
    plant and site joined. Three queries.
    """
    units = Appliance.objects.in_use().filter(plant=appliance.plant).order_by("tag")
    return suggestions_together([appliance], {appliance.plant_id: list(units)}, on)[appliance.pk]


def suggestions_together(
    appliances: Sequence[Appliance], units: Mapping[int, Sequence[Appliance]], on: date
) -> dict[int, list[dict[str, Any]]]:
    """The same for many appliances, by their id; `units` are the appliances in use of each plant. Two queries
    however many they are."""
    rows, was = _suggestions(), _last_noted(appliances)
    return {
        row.pk: [
            {
                "key": change.key,
                "code": change.code,
                "unit": change.unit,
                "what": change.what,
                "was": was.get((row.pk, change.what), ""),
                "set_to": change.set_to,
                "caution": change.caution,
                "source": change.source,
                "mark": change.mark,
            }
            for change in changes_suggested(rows, _facts(row, units[row.plant_id], on))
        ]
        for row in appliances
    }


def _facts(appliance: Appliance, units: Sequence[Appliance], on: date) -> Facts:
    plant = appliance.plant
    return Facts(
        model_id=appliance.model_id,
        kind=appliance.model.kind,
        sequencing=plant.sequencing,
        season=season_on(on, plant.site.latitude),
        unit=appliance.tag,
        other_units=[row.tag for row in units if row.pk != appliance.pk and row.safety_state not in OFF],
    )


def _last_noted(appliances: Sequence[Appliance]) -> dict[tuple[int, str], str]:
    rows: list[Any] = _noted(appliances=[row.pk for row in appliances])
    return {(row.appliance_id, row.what): row.was for row in rows}
