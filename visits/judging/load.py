"""Cases of stored visits: a fixed number of queries for any number of visits."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from fleet.models import AnalyserChannel, Burner, FiringSpec, ModelTrim
from fleet.selectors import limit_book
from people.models import Licence
from people.selectors import licence_gap
from visits.judging.case import Case
from visits.models import Adjustment, FiringTest, Kind, TemporaryChange, Visit


def cases_load(visit_ids: Sequence[int]) -> list[Case]:
    """The cases of these visits, in no particular order."""
    visits = list(
        Visit.objects.filter(pk__in=visit_ids).select_related(
            "appliance__model", "appliance__plant__site__customer", "analyser", "analyser_period__analyser"
        )
    )
    by_visit = {visit.pk: visit for visit in visits}
    tests = _grouped(FiringTest.objects.filter(visit__in=by_visit).select_related("burner"), "visit_id")
    for visit_id, rows in tests.items():
        for test in rows:
            test.visit = by_visit[visit_id]
    adjustments = _grouped(Adjustment.objects.filter(visit__in=by_visit).select_related("burner"), "visit_id")
    changes = _grouped(TemporaryChange.objects.filter(visit__in=by_visit), "visit_id")
    burners = _grouped(
        Burner.objects.filter(appliance__in={visit.appliance_id for visit in visits}), "appliance_id"
    )
    models = {visit.appliance.model_id for visit in visits}
    specs = _grouped(FiringSpec.objects.filter(model__in=models), "model_id")
    trims = _grouped(ModelTrim.objects.filter(model__in=models), "model_id")
    analysers = {visit.analyser_id for visit in visits}
    channels = _grouped(AnalyserChannel.objects.filter(analyser__in=analysers), "analyser_id")
    technicians = {visit.technician_id for visit in visits if visit.source != Visit.Source.IMPORT}
    licences = _grouped(
        Licence.objects.filter(technician__user__in=technicians).select_related("technician"),
        "technician.user_id",
    )
    limits = limit_book()
    return [
        Case(
            visit=visit,
            appliance=visit.appliance,
            burner_ids=[burner.pk for burner in burners[visit.appliance_id]],
            tests=tests[visit.pk],
            adjustments=adjustments[visit.pk],
            changes=changes[visit.pk],
            specs=specs[visit.appliance.model_id],
            trims=frozenset(trim.kind for trim in trims[visit.appliance.model_id]),
            limits=limits.in_force(
                visit.appliance.plant.site.customer.country,
                visit.appliance.plant.site.customer_id,
                visit.local_on,
            ),
            channels={row.quantity: row for row in channels[visit.analyser_id]},
            period=visit.analyser_period,
            licence_gap=gap_of(visit, licences[visit.technician_id]),
        )
        for visit in visits
    ]


def gap_of(visit: Visit, licences: Iterable[Licence]) -> str | None:
    """Why the technician's licences do not cover the visit. Imported visits are not judged on licences."""
    if visit.source == Visit.Source.IMPORT:
        return None
    return licence_gap(
        licences,
        on=visit.local_on,
        commissioning=visit.kind == Kind.COMMISSIONING,
        fuel=visit.fuel,
        input_gross_kw=visit.appliance.input_gross_kw,
    )


def _grouped(rows: Iterable[Any], path: str) -> defaultdict[Any, list[Any]]:
    groups: defaultdict[Any, list[Any]] = defaultdict(list)
    for row in rows:
        key: Any = row
        for name in path.split("."):
            key = getattr(key, name)
        groups[key].append(row)
    return groups
