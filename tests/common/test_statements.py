"""Prepared querysets and the upsert do what the ORM does, only with less ado."""

from datetime import UTC, date, datetime
from uuid import uuid4

import pytest
from django.db import models

from common.prepared import Among, Bind, Prepared, hang
from common.upsert import insert, rewrite, upsert
from fleet.models import AnalyserPeriod, Burner
from tests.factories import (
    AnalyserPeriodFactory,
    ApplianceFactory,
    BurnerFactory,
    FiringTestFactory,
    UserFactory,
    VisitFactory,
)
from visits.models import Attendance, Finding, FiringTest, Severity, Visit, VisitRecord

_of_day = Prepared(
    lambda: (
        AnalyserPeriod.objects.select_related("analyser")
        .filter(starts_on__lte=Bind("on", models.DateField()))
        .order_by("starts_on")
    )
)
_burners = Prepared(
    lambda: Burner.objects.select_related("appliance__plant__site").filter(
        appliance__uuid=Bind("uuid", models.UUIDField())
    )
)


@pytest.mark.django_db
def test_a_prepared_queryset_gives_what_the_queryset_gives_at_every_call(django_assert_num_queries) -> None:
    for year in (2022, 2023, 2024):
        AnalyserPeriodFactory(starts_on=date(year, 1, 1))
    for on in (date(2022, 6, 1), date(2024, 6, 1), date(2021, 1, 1)):
        expected = list(AnalyserPeriod.objects.filter(starts_on__lte=on).order_by("starts_on"))
        with django_assert_num_queries(1):
            found = _of_day(on=on)
            tags = [row.analyser.tag for row in found]
        assert tags == [row.analyser.tag for row in expected]
        assert found == expected
        assert [row.bias_weak for row in found] == [row.bias_weak for row in expected]


@pytest.mark.django_db
def test_joined_rows_of_a_prepared_queryset_are_whole(django_assert_num_queries) -> None:
    appliance = ApplianceFactory()
    with django_assert_num_queries(1):
        (burner,) = _burners(uuid=appliance.uuid)
        assert burner.appliance.plant.site.name == appliance.plant.site.name
    assert burner.appliance.uuid == appliance.uuid


_of_appliances = Prepared(lambda: Burner.objects.filter(Among("appliance", "appliances")))
_of_plants = Prepared(lambda: Burner.objects.filter(Among("appliance__plant", "plants")))


@pytest.mark.django_db
def test_one_prepared_statement_serves_any_number_of_keys(django_assert_num_queries) -> None:
    appliances = [ApplianceFactory() for _ in range(3)]
    BurnerFactory(appliance=appliances[1], position=2)
    for asked in ([], appliances[:1], appliances[1:], appliances):
        keys = {row.pk for row in asked}
        with django_assert_num_queries(1):
            found = _of_appliances(appliances=keys)
        assert found == list(Burner.objects.filter(appliance__in=keys))
        assert _of_plants(plants={row.plant_id for row in asked}) == found


@pytest.mark.django_db
def test_rows_hung_under_a_relation_are_what_it_gives_without_asking(django_assert_num_queries) -> None:
    appliances = [ApplianceFactory() for _ in range(2)]
    expected = [list(row.burners.all()) for row in appliances]
    hang(Burner.objects.filter(appliance=appliances[0]), appliances, by="appliance_id", under="burners")
    with django_assert_num_queries(0):
        assert [list(row.burners.all()) for row in appliances] == [expected[0], []]


def _finding(visit, subject: str, **values) -> Finding:
    return Finding(
        visit=visit,
        appliance=visit.appliance,
        code="no_spec",
        subject=subject,
        severity=Severity.NOTE,
        made_at=datetime(2026, 1, 1, tzinfo=UTC),
        **values,
    )


@pytest.mark.django_db
def test_an_upsert_inserts_then_renews_only_what_it_is_told_to() -> None:
    visit = VisitFactory()
    identity = ["visit", "code", "subject"]
    first = [_finding(visit, "a", value=1.0), _finding(visit, "b", rests_on={"x": [1, "é"]})]
    upsert(first, model=Finding, identity=identity, renew=["value", "rests_on"])
    assert [row.pk for row in first] == list(Finding.objects.order_by("pk").values_list("pk", flat=True))
    again = [_finding(visit, "b", value=2.0, unit="ppm"), _finding(visit, "c")]
    upsert(again, model=Finding, identity=identity, renew=["value", "rests_on"])
    stored = {row.subject: row for row in Finding.objects.all()}
    assert {name: row.value for name, row in stored.items()} == {"a": 1.0, "b": 2.0, "c": None}
    assert stored["b"].pk == first[1].pk == again[0].pk
    assert stored["b"].unit == ""
    assert stored["b"].rests_on == {}


@pytest.mark.django_db
def test_an_upsert_of_nothing_asks_nothing(django_assert_num_queries) -> None:
    with django_assert_num_queries(0):
        upsert([], model=Finding, identity=["visit", "code", "subject"])


@pytest.mark.django_db
def test_a_rewrite_gives_each_row_its_own_values_and_none_stays_none() -> None:
    tests = [FiringTestFactory() for _ in range(3)]
    for number, test in enumerate(tests):
        test.co_ppm = None if number == 1 else float(number)
        test.kept_out = f"code {number}"
        test.o2_pct = 99.0  # not told to be written
    rewrite(tests, model=FiringTest, fields=["co_ppm", "kept_out"])
    rows = FiringTest.objects.order_by("pk").values_list("co_ppm", "kept_out", "o2_pct")
    assert list(rows) == [(0.0, "code 0", None), (None, "code 1", None), (2.0, "code 2", None)]


@pytest.mark.django_db
def test_a_rewrite_where_every_value_is_missing_is_understood() -> None:
    test = FiringTestFactory(co_ppm=3.0)
    test.co_ppm = None
    rewrite([test], model=FiringTest, fields=["co_ppm"])
    test.refresh_from_db()
    assert test.co_ppm is None


@pytest.mark.django_db
@pytest.mark.parametrize(
    "text", ['"quoted" \\ back', "line\nand\ttab \u2028", "größe 水 \U0001f525", "{1,NULL}", ""]
)
@pytest.mark.parametrize("number", [5e-324, -0.0, 0.1 + 0.2, 1e-5, -987_654.321, 3])
def test_values_come_back_as_they_were_written(text: str, number: float) -> None:
    visit = VisitFactory(opened_at=datetime(2026, 3, 29, 0, 59, 59, 999_999, tzinfo=UTC))
    row = _finding(visit, "a", value=number, unit="ppm", rests_on={text: [text, number, None, True]})
    row.done_on_visit = visit
    row.code = text[:40]
    insert([row], model=Finding)
    stored = Finding.objects.get(pk=row.pk)
    assert (stored.code, stored.value) == (text[:40], number)
    assert stored.rests_on == {text: [text, number, None, True]}
    assert stored.made_at == row.made_at


@pytest.mark.django_db
def test_bytes_come_back_as_they_were_written() -> None:
    visit, every_byte = VisitFactory(), bytes(range(256))
    record = VisitRecord(visit=visit, revision=1, by=UserFactory(), at=datetime(2026, 1, 1, tzinfo=UTC))
    record.document, record.answers = every_byte, b""
    insert([record], model=VisitRecord)
    record.refresh_from_db()
    assert (bytes(record.document), bytes(record.answers)) == (every_byte, b"")


@pytest.mark.django_db
def test_a_row_joined_before_its_relation_had_a_key_is_stored_with_it_and_stays_joined(
    django_assert_num_queries,
) -> None:
    visit = VisitFactory()
    attendance = Attendance(plant=visit.appliance.plant, technician=UserFactory(), local_on=date(2026, 1, 5))
    visit.pk, visit.uuid, visit.attendance = None, uuid4(), attendance
    insert([attendance], model=Attendance)
    insert([visit], model=Visit)
    with django_assert_num_queries(0):
        assert visit.attendance is attendance
    assert Visit.objects.get(pk=visit.pk).attendance_id == attendance.pk
