"""Which analysers a device is told of: what its technician carries, and what they may take instead."""

from datetime import date
from typing import Any

from django.db.models import (
    BigIntegerField,
    BooleanField,
    DateField,
    Exists,
    ExpressionWrapper,
    OuterRef,
    Q,
    QuerySet,
    Value,
)
from django.db.models.functions import Coalesce

from common.prepared import Among, Bind, Prepared, hang
from fleet.models import Analyser, AnalyserChannel, AnalyserPeriod
from people.models import User
from visits.models import Visit

LATEST_VISITS = 60
"""Of the technician's own: what they have measured with lately is what they carry."""
BUSY_VISITS = 2_000
"""Of the firm: what was measured with in its latest visits is likely in a colleague's hands."""
MOST_ANALYSERS = 40
"""So many are told: beyond that one is taken by its tag or serial, as `/analysers/` tells it."""


def analysers_near(technician: User, on: date) -> list[Analyser]:
    """The analysers in use, each with `period`, the newest begun by the day or None: what the technician
    measured with lately, then what lies free, then the others. Four queries."""
    own = {visit.analyser_id for visit in _latest(technician=technician.pk)} - {None}
    analysers: list[Any] = _nearest(own=own)
    keys = [analyser.pk for analyser in analysers]
    hang(_channels(analysers=keys), analysers, by="analyser_id", under="channels")
    period_of = {period.analyser_id: period for period in _periods(analysers=keys, on=on)}
    for analyser in analysers:
        analyser.period = period_of.get(analyser.pk)
    return analysers


def _own_visits() -> QuerySet[Visit]:
    mine = Visit.objects.filter(technician=Bind("technician", BigIntegerField()))
    return mine.order_by("-opened_at", "-pk").only("analyser_id")[:LATEST_VISITS]


def _nearest_analysers() -> QuerySet[Analyser]:
    latest = Visit.objects.filter(analyser__isnull=False).order_by("-opened_at", "-pk")
    busy = Q(pk__in=latest.values("analyser")[:BUSY_VISITS])
    in_use = Analyser.objects.filter(retired_on__isnull=True).annotate(
        own=Among("pk", "own"), busy=ExpressionWrapper(busy, output_field=BooleanField())
    )
    return in_use.order_by("-own", "busy", "tag")[:MOST_ANALYSERS]


def _periods_of_the_day() -> QuerySet[AnalyserPeriod]:
    begun = AnalyserPeriod.objects.filter(
        Q(starts_on__isnull=True) | Q(starts_on__lte=Bind("on", DateField()))
    )
    start = Coalesce(OuterRef("starts_on"), Value(date.min))
    newer = begun.filter(analyser=OuterRef("analyser"), starts_on__gt=start)
    return begun.filter(Among("analyser", "analysers"), ~Exists(newer))


_latest = Prepared(_own_visits)
_nearest = Prepared(_nearest_analysers)
_channels = Prepared(lambda: AnalyserChannel.objects.filter(Among("analyser", "analysers")))
_periods = Prepared(_periods_of_the_day)
