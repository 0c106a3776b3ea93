"""Drift by model and age, from the run's own sums."""

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.models import DriftRun, ModelAgeing, Unit
from analytics.services import current_run
from analytics.summing import AGE_BANDS, ALL_AGES, UNKNOWN_AGE
from people.models import User

LEAST_BURNERS = 3
OTHER_UNIT = {Unit.PCT_OF_K.value: "%", Unit.PASCAL.value: "Pa", Unit.MILLI_W.value: "1e-3 w"}


@dataclass(frozen=True)
class Ageing:
    """One line: a model, or a model at an age."""

    row: ModelAgeing
    unit: str

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


def models_page(*, user: User, trim: str, model: int | None) -> ModelsPage:
    """All models, the fastest one-way drift first, and one model's ages. Three queries."""
    rows = ModelAgeing.objects.visible_to(user).current().filter(trim=trim).select_related("model__maker")
    overall = [_line(row) for row in rows.filter(age_from=ALL_AGES, burners__gte=LEAST_BURNERS)]
    overall.sort(key=lambda line: (not line.one_way, -abs(line.row.drift)))
    ages: list[Ageing] = []
    if model is not None:
        ages = [
            _line(row) for row in rows.filter(model=model).exclude(age_from=ALL_AGES).order_by("age_from")
        ]
    chosen = str(ages[0].row.model) if ages else ""
    return ModelsPage(current_run(), overall, ages, chosen)


def _line(row: ModelAgeing) -> Ageing:
    return Ageing(row, OTHER_UNIT[row.unit])
