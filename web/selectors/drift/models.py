"""Drift by model and age, from the run's own sums."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Q

from analytics.models import DriftRun, ModelAgeing
from analytics.services import current_run
from analytics.summing import AGE_BANDS, ALL_AGES, UNKNOWN_AGE
from analytics.trim_scale import TrimScale, trim_scale
from fleet.units import units_of
from people.models import User
from web.forms.drift import ModelFilters

LEAST_BURNERS = 3


@dataclass(frozen=True)
class Ageing:
    """One line: a model, or a model at an age."""

    row: ModelAgeing
    scale: TrimScale

    @property
    def one_way(self) -> bool:
        """Its interval leaves out nought: the part surely drifts."""
        low, high = self.row.drift_low, self.row.drift_high
        return low is not None and high is not None and (low > 0.0 or high < 0.0)

    @property
    def age_words(self) -> str:
        """The band of years."""
        if self.row.age_from == UNKNOWN_AGE:
            return "–"
        later = [age for age in AGE_BANDS if age > self.row.age_from]
        return f"{self.row.age_from} – {later[0] - 1}" if later else f"{self.row.age_from} +"


@dataclass(frozen=True)
class ModelsPage:
    """What the template draws. ages: of the model that is asked for."""

    run: DriftRun | None
    models: Sequence[Ageing]
    ages: Sequence[Ageing]
    chosen: str


def models_page(*, user: User, filters: ModelFilters) -> ModelsPage:
    """The models asked for, the fastest one-way drift first, and one model's ages. Three queries."""
    rows = ModelAgeing.objects.visible_to(user).current().filter(trim=filters.trim)
    rows = rows.select_related("model__maker")
    asked = rows.filter(age_from=ALL_AGES, burners__gte=LEAST_BURNERS)
    if filters.name:
        named = Q(model__name__icontains=filters.name) | Q(model__maker__name__icontains=filters.name)
        asked = asked.filter(named)
    units = units_of(user)
    overall = [_line(row, units) for row in asked]
    if filters.one_way:
        overall = [line for line in overall if line.one_way]
    overall.sort(key=lambda line: (not line.one_way, -abs(line.row.drift)))
    ages: list[Ageing] = []
    if filters.model is not None:
        own = rows.filter(model=filters.model).exclude(age_from=ALL_AGES)
        ages = [_line(row, units) for row in own.order_by("age_from")]
    chosen = str(ages[0].row.model) if ages else ""
    return ModelsPage(current_run(), overall, ages, chosen)


def _line(row: ModelAgeing, units: str) -> Ageing:
    return Ageing(row, trim_scale(row.unit, units))
