"""An appliance's story as far as the drift work tells it, in a fixed number of queries."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.http import Http404

from analytics.models import ApplianceDrift, TrimDrift
from analytics.selectors.sentences import trim_sentence
from fleet.models import Appliance, PartFitted
from fleet.units import units_of
from people.models import User
from people.permissions import works_here
from visits.models import Adjustment, FiringTest, Phase


@dataclass(frozen=True)
class TrimStory:
    """One trim with its sentence."""

    row: TrimDrift
    sentence: str


@dataclass(frozen=True)
class ApplianceStory:
    """Tests, moves and parts over the years, oldest first, and what they say.

    outside: (day, probability of any point being outside its acceptance band).
    """

    appliance: Appliance
    tests: Sequence[FiringTest]
    adjustments: Sequence[Adjustment]
    parts: Sequence[PartFitted]
    trims: Sequence[TrimStory]
    drift: ApplianceDrift | None
    outside: Sequence[tuple[date, float]]


def appliance_story(*, user: User, pk: int) -> ApplianceStory:
    """The story of one appliance. Not found where the reader may not see it; a contact gets no drift."""
    appliance = Appliance.objects.visible_to(user).with_place().filter(pk=pk).first()
    if appliance is None:
        raise Http404
    tests = FiringTest.objects.standing().filter(
        visit__appliance=appliance,
        visit__closed_at__isnull=False,
        phase__in=[Phase.AS_FOUND, Phase.AS_LEFT],
    )
    moves = Adjustment.objects.filter(
        visit__appliance=appliance, visit__closed_at__isnull=False, withdrawn_reason=""
    )
    drift = trims = None
    if works_here(user):
        drift = ApplianceDrift.objects.current().filter(appliance=appliance).first()
        trims = TrimDrift.objects.current().filter(appliance=appliance).select_related("burner")
    return ApplianceStory(
        appliance=appliance,
        tests=list(
            tests.select_related("visit__analyser", "burner").order_by("visit__opened_at", "sequence", "id")
        ),
        adjustments=list(moves.select_related("visit", "burner").order_by("visit__opened_at", "id")),
        parts=list(
            PartFitted.objects.filter(burner__appliance=appliance)
            .select_related("burner")
            .order_by("fitted_at", "id")
        ),
        trims=[TrimStory(row, trim_sentence(row, units=units_of(user))) for row in trims or ()],
        drift=drift,
        outside=[(date.fromisoformat(day), chance) for day, chance in (drift.outside if drift else ())],
    )
