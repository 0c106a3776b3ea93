"""Questions gathered into one statement are answered as if each had been asked alone."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.db import connection, models

from common.gathered import Gathered
from common.prepared import Bind, Prepared
from fleet.models import AnalyserPeriod, Appliance, GasPrice
from tests.factories import AnalyserPeriodFactory, ApplianceFactory, CustomerFactory, VisitFactory
from visits.models import Visit, VisitRecord

_questions = {
    "visits": Prepared(
        lambda: (
            Visit.objects.select_related("appliance__plant__site__customer", "analyser_period")
            .filter(appliance=Bind("appliance", models.BigIntegerField()))
            .annotate(twice=models.F("revision") * 2)
            .order_by("-opened_at")
        )
    ),
    "periods": Prepared(
        lambda: (
            AnalyserPeriod.objects.select_related("analyser")
            .filter(starts_on__lte=Bind("on", models.DateField()))
            .order_by("-starts_on")[:2]
        )
    ),
    "prices": Prepared(lambda: GasPrice.objects.order_by("pk")),
    "records": Prepared(lambda: VisitRecord.objects.order_by("pk")),
    "none": Prepared(lambda: Appliance.objects.filter(tag="nobody has this tag")),
}
_gathered = Gathered(**_questions)


def _values(row: models.Model) -> dict[str, object]:
    told = {name: value for name, value in vars(row).items() if not name.startswith("_")}
    joined = {
        field.name: _values(other)
        for field in row._meta.concrete_fields
        if field.is_relation and field.is_cached(row) and (other := getattr(row, field.name)) is not None
    }
    return {
        name: bytes(value) if isinstance(value, memoryview) else value for name, value in told.items()
    } | joined


@pytest.mark.django_db
def test_every_kind_of_column_comes_back_as_the_queryset_gives_it(django_assert_num_queries) -> None:
    appliance = ApplianceFactory()
    for hour in (8, 9):
        VisitFactory(
            appliance=appliance,
            opened_at=datetime(2026, 3, 29, hour, 0, 0, 1, tzinfo=UTC),
            health_as_found=1.0,
            health_checked={"as_found": ["CO2", 'a "quoted" one', None, 0.1]},
            notes="größe\n\\ 水",
        )
    for day in (1, 2, 3):
        AnalyserPeriodFactory(starts_on=date(2026, 1, day))
    visit = Visit.objects.order_by("pk")[0]
    VisitRecord.objects.create(
        visit=visit, revision=1, by=visit.technician, at=visit.opened_at, document=bytes(range(256))
    )
    GasPrice.objects.create(
        customer=CustomerFactory(),
        in_force_on=date(2026, 1, 1),
        currency="GBP",
        price_per_kwh=Decimal("0.0700"),
    )
    values = {"appliance": appliance.pk, "on": date(2026, 1, 2)}
    with django_assert_num_queries(1 if connection.vendor == "postgresql" else len(_questions)):
        together = _gathered(**values)
    alone = {name: asked(**values) for name, asked in _questions.items()}
    assert [len(rows) for rows in together.values()] == [2, 2, 1, 1, 0]
    for name, rows in alone.items():
        assert [_values(row) for row in together[name]] == [_values(row) for row in rows], name
        assert [type(value) for row in together[name] for value in _values(row).values()] == [
            type(value) for row in rows for value in _values(row).values()
        ], name
