"""What an appliance's page says of its drift: sentences, and the layers of its story's figure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from analytics.closeups import BurnerCloseUp, StepRow, appliance_closeup
from analytics.figures import Layers, Noted, ReachOn, StateOn, States
from analytics.models import ApplianceDrift, DriftRun, TrimDrift
from analytics.selectors import CostStory, TrimStory, appliance_cost, trim_sentence
from analytics.services import current_run
from analytics.trim_scale import trim_scale
from fleet.models import Appliance, Burner
from fleet.units import units_of
from people.models import User
from people.permissions import works_here
from visits.models import Adjustment, Visit


@dataclass(frozen=True)
class DriftOfAppliance:
    """For the firm's people: the run, the trims' sentences by burner, and the appliance as a whole."""

    run: DriftRun | None
    drift: ApplianceDrift | None
    trims: dict[int, list[TrimStory]]
    layers: dict[int, Layers]
    cost: CostStory | None = None

    @property
    def outside(self) -> list[tuple[date, float]]:
        """Days ahead and the probability of being outside an acceptance limit on them."""
        rows = self.drift.outside if self.drift else []
        return [(date.fromisoformat(day), chance) for day, chance in rows]


def drift_of(*, user: User, appliance: Appliance, visits: Iterable[Visit]) -> DriftOfAppliance:
    """Everything, in a fixed number of queries. A contact gets moves and parts, and no drift."""
    units = units_of(user)
    moves = _moves(appliance)
    run = current_run() if works_here(user) else None
    close = {one.burner_id: one for one in appliance_closeup(appliance.pk, run)} if run else {}
    days = {visit.pk: visit.local_on for visit in visits}
    layers = {
        burner.pk: _layers(burner, close.get(burner.pk), days, moves.get(burner.pk, []), units)
        for burner in appliance.burners.all()
    }
    trims: dict[int, list[TrimStory]] = {}
    if run is None:
        return DriftOfAppliance(None, None, trims, layers)
    rows = TrimDrift.objects.visible_to(user).current().filter(appliance=appliance)
    for row in rows.order_by("burner", "-flagged", "-trim"):
        trims.setdefault(row.burner_id, []).append(TrimStory(row, trim_sentence(row, units=units)))
    drift = ApplianceDrift.objects.visible_to(user).current().filter(appliance=appliance).first()
    cost = appliance_cost(user=user, appliance_id=appliance.pk)
    return DriftOfAppliance(run, drift, trims, layers, cost)


def _moves(appliance: Appliance) -> dict[int, list[Noted]]:
    """Adjustments of closed visits by burner."""
    found: dict[int, list[Noted]] = {}
    rows = Adjustment.objects.filter(
        visit__appliance=appliance, visit__closed_at__isnull=False, withdrawn_reason=""
    )
    for row in rows.select_related("visit").order_by("visit__opened_at", "pk"):
        found.setdefault(row.burner_id, []).append(Noted(row.visit.local_on, _move_words(row)))
    return found


def _move_words(row: Adjustment) -> str:
    words = [row.trim, row.direction]
    if row.turns is not None:
        words.append(_("%(turns)g turns") % {"turns": row.turns})
    elif row.marks is not None:
        words.append(_("%(marks)g marks") % {"marks": row.marks})
    return " ".join(word for word in words if word)


def _layers(
    burner: Burner, close: BurnerCloseUp | None, days: dict[int, date], moves: list[Noted], units: str
) -> Layers:
    parts = [Noted(part.fitted_at.date(), str(part.part)) for part in burner.parts.all()]
    if close is None:
        return Layers(moves=moves, parts=parts)
    steps = [step for step in close.steps if step.visit_id in days]
    expected: dict[str, list[ReachOn]] = {}
    for step in steps:
        if not step.left:
            for point, reach in step.expected.items():
                expected.setdefault(point, []).append(ReachOn(days[step.visit_id], *reach))
    ahead: dict[str, list[ReachOn]] = {}
    for day in close.fan:
        for point, reach in day.ahead.items():
            ahead.setdefault(point, []).append(ReachOn(day.on, *reach))
    return Layers(expected, ahead, moves, parts, _states(close, steps, days, units))


def _states(
    close: BurnerCloseUp, steps: Sequence[StepRow], days: dict[int, date], units: str
) -> list[States]:
    """Both trims over the years, the offset in the reader's units."""
    offset = trim_scale(close.offset_unit, units)
    return [
        States(
            _("throttle, % of K"),
            [StateOn(days[s.visit_id], s.throttle, s.throttle_u, s.throttle_afresh) for s in steps],
        ),
        States(
            _("offset, %(unit)s") % {"unit": offset.unit},
            [
                StateOn(
                    days[s.visit_id], s.offset * offset.factor, s.offset_u * offset.factor, s.offset_afresh
                )
                for s in steps
            ],
            digits=1 + offset.more,
        ),
    ]
