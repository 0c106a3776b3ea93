"""make_fleet streams, and neither command touches a fleet that is there."""

import tracemalloc
from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from common.models import OutboxEvent
from fleet.models import Appliance, Burner
from people.models import User
from tests.factories import ApplianceFactory
from visits.models import Finding, FiringTest, Life, TestResult, Visit
from web.demo import load
from web.demo.accounts import OFFICE_LOGIN

pytestmark = pytest.mark.django_db


def test_make_demo_refuses_a_database_with_another_fleet() -> None:
    ApplianceFactory()
    with pytest.raises(CommandError, match="needs an empty one"):
        call_command("make_demo")
    assert not User.objects.filter(username=OFFICE_LOGIN).exists()


def test_fleet_has_exactly_the_appliances_asked_for_and_is_judged() -> None:
    said = StringIO()
    call_command("make_fleet", appliances=120, years=3, seed=5, today=date(2026, 5, 4), stdout=said)
    assert Appliance.objects.count() == 120
    assert Burner.objects.count() >= 120
    assert "appliances: 120" in said.getvalue()
    assert TestResult.objects.count() == FiringTest.objects.count() > 0
    assert OutboxEvent.objects.get(kind="visits.imported").payload == {"visits": Visit.objects.count()}


def test_two_fleets_live_side_by_side_and_the_same_one_is_refused_twice() -> None:
    for seed in (1, 2):
        call_command("make_fleet", appliances=20, years=2, seed=seed, no_judge=True, stdout=StringIO())
    assert Appliance.objects.count() == 40
    assert not TestResult.objects.exists()
    with pytest.raises(CommandError, match="in this database already"):
        call_command("make_fleet", appliances=20, years=2, seed=1, stdout=StringIO())
    assert Appliance.objects.count() == 40


def test_what_another_fleet_found_long_ago_stays_as_it_stands() -> None:
    fleet = {"appliances": 40, "years": 3, "today": date(2026, 5, 4), "stdout": StringIO()}
    call_command("make_fleet", seed=1, **fleet)
    settled = Finding.objects.filter(life=Life.DONE)
    there = list(settled.values_list("pk", flat=True))
    assert there, "a fleet's own old findings have been seen to"
    settled.update(life=Life.OPEN)
    call_command("make_fleet", seed=2, **fleet)
    assert set(Finding.objects.filter(pk__in=there).values_list("life", flat=True)) == {Life.OPEN}


@pytest.mark.parametrize(("name", "value"), [("appliances", 0), ("years", 0), ("years", 41)])
def test_fleet_size_outside_its_limits_is_refused(name: str, value: int) -> None:
    with pytest.raises(CommandError, match=f"--{name} is {value}; it must be 1 to"):
        call_command("make_fleet", **{"appliances": 10, "years": 2, name: value})


def test_memory_of_a_fleet_does_not_grow_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(load, "CHUNK_APPLIANCES", 30)
    peaks = [_peak_bytes(appliances, seed) for seed, appliances in enumerate((120, 480), start=10)]
    assert peaks[1] < 1.25 * peaks[0]


def _peak_bytes(appliances: int, seed: int) -> int:
    tracemalloc.start()
    try:
        load.fleet_load(
            appliances=appliances,
            years=3,
            seed=seed,
            today=date(2026, 5, 4),
            judge=False,
            progress=lambda step, visits: None,
        )
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
