"""Cases of stored visits: a fixed number of queries for any number of visits."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from django.utils import timezone

from common.grouping import grouped
from fleet.items import item_book
from fleet.models import Analyser, AnalyserPeriod, Appliance, Burner, PartFitted
from people.models import Licence
from people.selectors import licence_gap
from visits.judging.case import Case
from visits.judging.grounds import Grounds
from visits.models import (
    Adjustment,
    Attendance,
    FiringTest,
    Kind,
    PlantSetting,
    TemporaryChange,
    Visit,
    VisitItem,
)


def cases_load(visit_ids: Sequence[int]) -> list[Case]:
    """The cases of these visits, in their order; without those that are not on file."""
    by_visit = Visit.objects.in_bulk(visit_ids)
    visits = [by_visit[pk] for pk in dict.fromkeys(visit_ids) if pk in by_visit]
    _join(visits)
    burners = list(Burner.objects.filter(appliance__in={visit.appliance_id for visit in visits}))
    by_burner = {burner.pk: burner for burner in burners}
    tests = _rows_of(FiringTest, by_visit, by_burner)
    adjustments = _rows_of(Adjustment, by_visit, by_burner)
    changes = grouped(TemporaryChange.objects.filter(visit__in=by_visit), "visit_id")
    settings = grouped(PlantSetting.objects.filter(visit__in=by_visit), "visit_id")
    answers = grouped(VisitItem.objects.filter(visit__in=by_visit), "visit_id")
    parts = grouped(
        PartFitted.objects.filter(burner__in=by_burner, visit_uuid__in=[visit.uuid for visit in visits]),
        "visit_uuid",
    )
    burner_ids = {key: [row.pk for row in rows] for key, rows in grouped(burners, "appliance_id").items()}
    grounds = Grounds(
        {visit.appliance for visit in visits}, {visit.analyser_id for visit in visits if visit.analyser_id}
    )
    technicians = {visit.technician_id for visit in visits if visit.source != Visit.Source.IMPORT}
    licences = grouped(
        Licence.objects.filter(technician__user__in=technicians).select_related("technician"),
        "technician.user_id",
    )
    items, now = item_book(), timezone.now()
    return [
        Case(
            visit=visit,
            appliance=visit.appliance,
            burner_ids=burner_ids.get(visit.appliance_id, []),
            tests=tests[visit.pk],
            adjustments=adjustments[visit.pk],
            changes=changes[visit.pk],
            period=visit.analyser_period,
            licence_gap=gap_of(visit, licences[visit.technician_id]),
            now=now,
            items=items.asked(
                visit.appliance,
                visit.appliance.plant.site.customer.country,
                visit.kind,
                visit.local_on,
                visit.fuel,
            )
            if visit.source != Visit.Source.IMPORT
            else {},
            answers=answers[visit.pk],
            settings=settings[visit.pk],
            parts=[part.part for part in parts[visit.uuid]],
            channels=grounds.channels_of(visit.analyser_id),
            **grounds.of(visit.appliance, visit.local_on),
        )
        for visit in visits
    ]


def _join(visits: Sequence[Visit]) -> None:
    """Hang the appliance, analyser and period on each visit: many visits share one, so each is built once."""
    appliances = Appliance.objects.select_related("model", "plant__site__customer").in_bulk(
        {visit.appliance_id for visit in visits}
    )
    periods = AnalyserPeriod.objects.select_related("analyser").in_bulk(
        {visit.analyser_period_id for visit in visits if visit.analyser_period_id}
    )
    analysers = Analyser.objects.in_bulk({visit.analyser_id for visit in visits if visit.analyser_id})
    attendances = Attendance.objects.in_bulk({visit.attendance_id for visit in visits})
    for visit in visits:
        visit.appliance = appliances[visit.appliance_id]
        visit.attendance = attendances[visit.attendance_id]
        visit.analyser = analysers[visit.analyser_id] if visit.analyser_id else None
        visit.analyser_period = periods[visit.analyser_period_id] if visit.analyser_period_id else None


def _rows_of(
    model: type[FiringTest] | type[Adjustment], by_visit: dict[int, Visit], by_burner: dict[int, Burner]
) -> defaultdict[int, list[Any]]:
    """Rows of the visits with their visit and burner hung on."""
    rows = grouped(model._default_manager.filter(visit__in=by_visit), "visit_id")
    for visit_id, own in rows.items():
        for row in own:
            row.visit, row.burner = by_visit[visit_id], by_burner[row.burner_id]
    return rows


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
