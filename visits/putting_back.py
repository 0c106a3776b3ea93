"""What to put back: suggested temporary changes, each with what it was when somebody last noted it."""

from datetime import date
from typing import Any

from fleet.models import Appliance, PutBackSuggestion
from fleet.models.safety import OFF
from fleet.putting_back import Facts, changes_suggested, season_on
from visits.models import TemporaryChange

CAUTION = "Put every setting back before leaving, and see the plant run in its normal control."
_NOTED_BEFORE = 100  # rows looked through for what a setting was


def suggestions(appliance: Appliance, on: date) -> list[dict[str, Any]]:
    """The settings that a test of the appliance on a day usually alters, in order, ready to be confirmed.

    Each is a row of a visit's `temporary_changes` (`key`, `what`, `set_to`, and `was` as last noted on this
    appliance, empty where nobody did) with its unit, caution and source. The appliance comes with model,
    plant and site joined. Three queries.
    """
    plant = appliance.plant
    others = Appliance.objects.in_use().filter(plant=plant).exclude(pk=appliance.pk)
    others = others.exclude(safety_state__in=OFF)
    facts = Facts(
        model_id=appliance.model_id,
        kind=appliance.model.kind,
        sequencing=plant.sequencing,
        season=season_on(on, plant.site.latitude),
        unit=appliance.tag,
        other_units=list(others.order_by("tag").values_list("tag", flat=True)),
    )
    was = _last_noted(appliance)
    return [
        {
            "key": change.key,
            "code": change.code,
            "unit": change.unit,
            "what": change.what,
            "was": was.get(change.what, ""),
            "set_to": change.set_to,
            "caution": change.caution,
            "source": change.source,
            "mark": change.mark,
        }
        for change in changes_suggested(PutBackSuggestion.objects.all(), facts)
    ]


def _last_noted(appliance: Appliance) -> dict[str, str]:
    rows = TemporaryChange.objects.filter(visit__appliance=appliance, withdrawn_reason="").exclude(was="")
    newest = rows.order_by("-visit__opened_at", "-pk").values_list("what", "was")[:_NOTED_BEFORE]
    return dict(reversed(list(newest)))
