"""What keeps pages quick on a large fleet changes nothing that they say."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet.models import Appliance, SafetyState
from fleet.models.safety import OFF
from tests.factories import ApplianceFactory, PlantFactory, VisitFactory
from tests.web.small_fleet import SmallFleet
from visits.models import Finding, Life, Severity
from web.paging import counted, first_keys
from web.selectors.search import search

pytestmark = pytest.mark.django_db


def of_severity(visit: Any, severity: str, code: str, **more: Any) -> Finding:
    return Finding.objects.create(
        visit=visit, appliance=visit.appliance, code=code, severity=severity, made_at=timezone.now(), **more
    )


def test_the_first_page_asks_as_often_of_full_queues_as_of_empty_ones(fleet: SmallFleet, page_of) -> None:
    Finding.objects.all().delete()
    client, counts, queues = page_of(fleet.office), [], []
    for filled in (False, True):
        if filled:
            for number in range(10):
                visit = VisitFactory(appliance__safety_state=SafetyState.LEFT_OFF)
                of_severity(visit, Severity.MAKE_SAFE, "co_make_safe")
                of_severity(visit, Severity.ACT, "not_put_back", subject=str(number))
                of_severity(visit, Severity.ACT, "outside_acceptance")
                of_severity(visit, Severity.ACT, "outside_acceptance", subject="done", life=Life.DONE)
                of_severity(visit, Severity.ACT, "outside_acceptance", subject="withdrawn", holds=False)
        with CaptureQueriesContext(connection) as asked:
            queues.append(client.get(reverse("web:today")).context["queues"])
        counts.append(len(asked))
    assert counts[0] == counts[1]
    empty, full = queues
    for name, code in (
        ("make_safe", "co_make_safe"),
        ("not_put_back", "not_put_back"),
        ("findings", "outside_acceptance"),
    ):
        assert (getattr(empty, name).rows, getattr(empty, name).count) == ([], "0")
        newest = Finding.objects.filter(code=code, life=Life.OPEN, holds=True).order_by("-pk")[:8]
        assert (getattr(full, name).rows, getattr(full, name).count) == (list(newest), "10")
    off = Appliance.objects.filter(safety_state__in=OFF).order_by("pk")
    assert (full.off.rows, full.off.count) == (list(off[:8]), str(int(empty.off.count) + 10))


def test_the_keys_of_a_queue_are_counted_as_the_queue_is(monkeypatch) -> None:
    rows = [ApplianceFactory() for _ in range(4)]
    asked = type(rows[0]).objects.order_by("-pk")
    assert first_keys(asked, 2) == ([rows[3].pk, rows[2].pk], "4")
    monkeypatch.setattr("web.paging.COUNTED_UP_TO", 3)
    assert first_keys(asked, 2)[1] == counted(asked) == "3+"


def test_a_word_that_is_everywhere_hides_nothing_that_another_way_or_word_finds(
    fleet: SmallFleet, monkeypatch
) -> None:
    plant = PlantFactory(name="B1 annexe")
    named_by_plant = ApplianceFactory(plant=plant, tag="K9")
    own = ApplianceFactory(tag="B1", serial="rare")
    monkeypatch.setattr("web.selectors.search.LOOKED_AT", 1)
    found = search(user=fleet.office, text="B1").appliances
    assert named_by_plant in found
    assert search(user=fleet.office, text="b1 rare").appliances == [own]
    assert search(user=fleet.office, text="rare b1").appliances == [own]
    mine = search(user=fleet.contact, text="B1").appliances
    assert [row.plant.site for row in mine] == [fleet.site]


def test_the_manager_counts_open_findings_by_kind_and_model(fleet: SmallFleet, page_of) -> None:
    Finding.objects.all().delete()
    Appliance.objects.update(safety_state=SafetyState.IN_SERVICE)
    for model, number in ((fleet.appliance.model, 2), (ApplianceFactory().model, 1)):
        for _ in range(number):
            visit = VisitFactory(appliance=ApplianceFactory(model=model, safety_state=SafetyState.ISOLATED))
            of_severity(visit, Severity.ACT, "not_put_back")
            of_severity(visit, Severity.ADVISE, "no_spec")
    page = page_of(fleet.manager).get(reverse("web:condition")).context["page"]
    assert [(code, count) for code, _, count in page.by_code] == [("not_put_back", 3)]
    assert [count for _, count in page.by_model] == [2, 1]
    assert page.by_model[0][0] == str(fleet.appliance.model)
    assert {state: count for state, _, count in page.states}["isolated"] == 3
