"""A gas price counts at once: money is gas times its price, and only the price is another."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from analytics import tasks
from analytics.costing import pricing
from analytics.costing.totals import total_of
from analytics.models import DriftPointer, DriftRun, TuningCost
from analytics.services import _catch_up
from common import outbox
from common.editing import values_of
from fleet.models import Burner, GasPrice
from fleet.records import record_add, record_change
from tests import factories as make


@pytest.fixture
def run(db):
    """Three burners of two customers that lose 1,000, 2,000 and 4,000 kWh a year, with no price stated."""
    now = timezone.now()
    run = DriftRun.objects.create(kind="nightly", started_at=now, finished_at=now, as_of=timezone.localdate())
    DriftPointer.objects.create(only=1, current=run)
    plant = make.PlantFactory()
    for kwh, place in ((1_000.0, {"plant": plant}), (2_000.0, {"plant": plant}), (4_000.0, {})):
        appliance = make.ApplianceFactory(**place)
        parts = {f"part_{name}_kwh": 0.1 * kwh for name in ("analyser", "gas", "air", "flue", "response")}
        TuningCost.objects.create(
            run=run, appliance=appliance, burner=Burner.objects.get(appliance=appliance), fuel=appliance.fuel,
            read_on=run.as_of, points="both", indicative=False, use_source="assumed", lost_kwh=kwh,
            lost_low_kwh=0.5 * kwh, lost_high_kwh=1.5 * kwh, part_own_kwh=0.1 * kwh, part_split_kwh=0.0,
            part_use_kwh=0.0, **parts,
        )  # fmt: skip
    run.tuning_cost = total_of(TuningCost.objects.filter(run=run)).as_json()
    run.save()
    return run


@pytest.fixture
def office(db):
    return make.UserFactory(role="office")


def priced(price, **more):
    fields = {"currency": "GBP", "in_force_on": timezone.localdate(), "source": "a bill", **more}
    return GasPrice(price_per_kwh=Decimal(price), **fields)


def ticked(run):
    """What each burner costs in money, and the run's sum, once the tick has been."""
    now = timezone.now()
    outbox.work_through(now)
    tasks.prices_what_is_owed(now)
    run.refresh_from_db()
    rows = TuningCost.objects.filter(run=run).order_by("burner")
    return [row.worth(row.price_per_kwh) for row in rows], run.tuning_cost["money"]


def test_a_stated_price_is_in_the_money_after_the_next_tick_and_a_changed_one_too(run, office):
    assert ticked(run) == ([None] * 3, {})
    own = priced("0.05")
    record_add(by=office, row=own)
    money, together = ticked(run)
    # by hand, at 0.05 a kWh: 1,000 kWh are 50, and 7,000 kWh are 350
    for told, by_hand in zip(money, ([50, 25, 75], [100, 50, 150], [200, 100, 300]), strict=True):
        assert told == pytest.approx(by_hand)
    assert together["GBP"][0] == pytest.approx(350.0)
    gas = run.tuning_cost["energy_kwh"]
    assert together["GBP"] == pytest.approx([0.05 * kwh for kwh in gas])
    own.refresh_from_db()
    seen = values_of(own, ["price_per_kwh"])
    record_change(by=office, row=own, values={"price_per_kwh": Decimal("0.10")}, seen=seen)
    assert ticked(run)[1]["GBP"][0] == pytest.approx(700.0)


def test_a_customers_price_and_another_currency_reach_their_own_burners_only(run, office):
    record_add(by=office, row=priced("0.05"))
    customer = TuningCost.objects.get(run=run, lost_kwh=4_000).appliance.plant.site.customer
    record_add(by=office, row=priced("0.08", currency="EUR", customer=customer))
    _, together = ticked(run)
    middle = {currency: ends[0] for currency, ends in together.items()}
    assert middle == pytest.approx({"GBP": 150.0, "EUR": 320.0})


def test_a_price_of_a_later_day_waits_for_that_day(run, office):
    record_add(by=office, row=priced("0.05", in_force_on=timezone.localdate() + timedelta(days=1)))
    assert ticked(run)[1] == {}


def test_broken_off_it_begins_again_and_what_is_right_is_not_written_twice(run, office, monkeypatch):
    monkeypatch.setattr(pricing, "BURNERS_AT_ONCE", 1)
    record_add(by=office, row=priced("0.05"))
    outbox.work_through(timezone.now())
    whole, pages = pricing.price_book, []

    def breaking(on):
        pages.append(on)
        if len(pages) == 3:
            raise RuntimeError("the worker was stopped")
        return whole(on)

    monkeypatch.setattr(pricing, "price_book", breaking)
    with pytest.raises(RuntimeError):
        tasks.prices_what_is_owed(timezone.now())
    assert TuningCost.objects.filter(run=run, price_per_kwh=0.05).count() == 2
    assert pricing.prices_owed() == 1
    with CaptureQueriesContext(connection) as captured:
        assert tasks.prices_what_is_owed(timezone.now()) == {"burners": 1}
    written = [one["sql"] for one in captured if one["sql"].startswith('UPDATE "analytics_tuningcost"')]
    assert len(written) == 1
    assert ticked(run)[1]["GBP"][0] == pytest.approx(350.0)
    assert tasks.prices_what_is_owed(timezone.now()) == {}


def test_a_price_changed_while_a_run_was_reckoned_is_caught_up_with(run, office):
    record_add(by=office, row=priced("0.05"))
    _catch_up(run, timezone.now(), lambda step, rows: None)
    run.refresh_from_db()
    assert run.tuning_cost["money"]["GBP"][0] == pytest.approx(350.0)
    assert run.priced_at is not None


def test_the_plants_of_a_priced_contract_take_its_price_when_it_is_given_them(run, office):
    plant = TuningCost.objects.filter(run=run).order_by("lost_kwh").first().appliance.plant
    contract = make.ContractFactory(customer=plant.site.customer, starts_on=timezone.localdate())
    record_add(by=office, row=priced("0.02", contract=contract))
    assert ticked(run)[1] == {}
    seen = values_of(contract, ["plants"])
    record_change(by=office, row=contract, values={"plants": [plant]}, seen=seen)
    assert ticked(run)[1]["GBP"][0] == pytest.approx(60.0)
