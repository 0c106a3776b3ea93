"""The ranked list of wanderers, and the evidence behind one appliance, each in a fixed number of queries."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import Exists, OuterRef, QuerySet
from django.http import Http404
from django.utils import timezone

from analytics.closeups import BurnerCloseUp, StepRow, appliance_closeup
from analytics.costing.past import PastCost, past_costs
from analytics.models import ApplianceDrift, DriftRun, PeriodBias, TrimDrift, Unit
from analytics.selectors import TrimStory, Wanderer, trim_sentence, wanderers_ranked, with_evidence
from analytics.selectors.past import PastStory, past_story
from analytics.selectors.trends import TrendStory, appliance_trends
from analytics.services import current_run, kept_of_run
from fleet.models import Appliance, Burner, SafetyLimit
from fleet.selectors import limits_in_force, values_at
from fleet.units import units_of
from people.models import User
from visits.models import Visit
from web.forms.drift import WandererFilters
from web.paging import counted, page_by_value
from web.selectors.due import SITE

PAST_AT_ONCE = 500


@dataclass(frozen=True)
class RankedTrim:
    """One line of the list: a trim and the appliance it belongs to."""

    drift: ApplianceDrift
    trim: TrimDrift
    sentence: str

    @property
    def times_usual(self) -> float | None:
        """How many times its peers' movement it moves."""
        moved, usual = self.trim.moved_per_year, self.trim.usual_per_year
        return moved / usual if moved is not None and usual else None


@dataclass(frozen=True)
class WanderersPage:
    """What the template draws."""

    run: DriftRun | None
    rows: list[RankedTrim]
    count: str
    after: str


def wanderers_page(*, user: User, filters: WandererFilters, after: str, size: int) -> WanderersPage:
    """The list from a place in the ranking on. Four queries: run, count, appliances, their trims."""
    rows = narrowed(user, filters)
    column = "cost_kwh" if filters.by_cost else "wander_probability"
    page = page_by_value(rows, column, after, size=size, tie="appliance_id")
    return WanderersPage(
        run=current_run(),
        rows=[
            line
            for wanderer in with_evidence(page.rows)
            for line in lines_of(wanderer, filters.trim, units_of(user))
        ],
        count=counted(rows),
        after=page.after,
    )


def with_past(
    rows: Sequence[RankedTrim], run: DriftRun | None
) -> Iterator[tuple[RankedTrim, PastCost | None]]:
    """Each line with what its burner has cost, where its trim is flagged; some hundreds at a time."""
    for start in range(0, len(rows), PAST_AT_ONCE):
        some = rows[start : start + PAST_AT_ONCE]
        flagged = sorted({row.trim.appliance_id for row in some if row.trim.flagged})
        past = past_costs(flagged, run=run, on=timezone.localdate()) if run and flagged else {}
        for row in some:
            yield row, past.get(row.trim.burner_id) if row.trim.flagged else None


def narrowed(user: User, filters: WandererFilters) -> QuerySet[ApplianceDrift]:
    """The appliances asked for, the surest first; by cost only those that have one."""
    rows = filters.place.narrow(wanderers_ranked(user=user, flagged_only=not filters.everything), SITE)
    if filters.by_cost:
        rows = rows.filter(cost_kwh__isnull=False)
    if filters.trim:
        own = TrimDrift.objects.filter(run=OuterRef("run"), appliance=OuterRef("appliance"))
        own = own.filter(trim=filters.trim, reason="")
        rows = rows.filter(Exists(own if filters.everything else own.filter(flagged=True)))
    return rows


def lines_of(wanderer: Wanderer, trim: str, units: str) -> list[RankedTrim]:
    """An appliance's trims that made it flagged, else its likeliest one."""
    own = [row for row in wanderer.trims if not row.reason and trim in ("", row.trim)]
    named = [row for row in own if row.flagged] or own[:1]
    return [RankedTrim(wanderer.drift, row, trim_sentence(row, units=units)) for row in named]


@dataclass(frozen=True)
class Line:
    """One phase of one visit in the evidence: what it was read with and what was taken off."""

    visit: Visit
    step: StepRow
    bias: PeriodBias | None


@dataclass(frozen=True)
class BurnerEvidence:
    """One burner's sentences and visits, the newest first. offset_unit: as in `analytics.models.Unit`.

    past: where a trim is flagged, what being off target has cost.
    """

    burner: Burner
    trims: list[TrimStory]
    offset_unit: str
    past: PastStory | None = None
    lines: Sequence[Line] = field(default_factory=list)


@dataclass(frozen=True)
class EvidencePage:
    """What the template draws. trends: by burner, what fouling and wear move.

    outdated: the run is an earlier version's, and nothing visit by visit can be held to it.
    """

    appliance: Appliance
    run: DriftRun | None
    outdated: bool
    drift: ApplianceDrift | None
    burners: list[BurnerEvidence]
    trends: dict[int, list[TrendStory]]

    @property
    def has_lines(self) -> bool:
        """There is something to show visit by visit."""
        return any(burner.lines for burner in self.burners)


def evidence_page(*, user: User, pk: int) -> EvidencePage:
    """The visits, analysers and what was removed, behind one appliance's numbers."""
    appliance = Appliance.objects.visible_to(user).with_place().filter(pk=pk).first()
    if appliance is None:
        raise Http404
    run, units = current_run(), units_of(user)
    trims: dict[int, list[TrimStory]] = {}
    found = TrimDrift.objects.visible_to(user).current().filter(appliance=appliance)
    for row in found.select_related("burner").order_by("-flagged", "-wander_probability", "-trim"):
        trims.setdefault(row.burner_id, []).append(TrimStory(row, trim_sentence(row, units=units)))
    close = {one.burner_id: one for one in appliance_closeup(appliance.pk, run)}
    visits = Visit.objects.filter(appliance=appliance).select_related("analyser", "technician").in_bulk()
    biases = {
        row.period_id: row
        for row in PeriodBias.objects.visible_to(user).current().filter(period__visits__appliance=appliance)
    }
    flagged = any(trim.row.flagged for own in trims.values() for trim in own)
    past = past_costs([appliance.pk], run=run, on=timezone.localdate()) if run and flagged else {}
    burners = [
        _evidence(
            burner,
            trims.get(burner.pk, []),
            close.get(burner.pk),
            visits,
            biases,
            _past(burner, trims.get(burner.pk, []), past, units),
        )
        for burner in appliance.burners.all()
    ]
    drift = ApplianceDrift.objects.visible_to(user).current().filter(appliance=appliance).first()
    outdated = run is not None and kept_of_run(run.pk, run.started_at) is None
    return EvidencePage(appliance, run, outdated, drift, burners, _trends(appliance, units))


def _trends(appliance: Appliance, units: str) -> dict[int, list[TrendStory]]:
    customer = appliance.plant.site.customer
    limits = limits_in_force(customer.country, customer.pk, timezone.localdate())
    own = values_at(SafetyLimit.Level.INVESTIGATE, limits)
    return appliance_trends(appliance.pk, safety=own, units=units)


def _past(
    burner: Burner, trims: Sequence[TrimStory], past: Mapping[int, PastCost], units: str
) -> PastStory | None:
    known = past.get(burner.pk) if any(trim.row.flagged for trim in trims) else None
    return past_story(known, units=units) if known else None


def _evidence(
    burner: Burner,
    trims: list[TrimStory],
    close: BurnerCloseUp | None,
    visits: dict[int, Visit],
    biases: dict[int, PeriodBias],
    past: PastStory | None,
) -> BurnerEvidence:
    steps = reversed(close.steps) if close else ()
    lines = [
        Line(visits[step.visit_id], step, biases.get(visits[step.visit_id].analyser_period_id or 0))
        for step in steps
    ]
    unit = Unit.PASCAL.value if close is None else close.offset_unit
    return BurnerEvidence(burner, trims, unit, past, lines)
