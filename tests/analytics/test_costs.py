"""What being out of tune costs, from the record to the rows of a run, and summed over a fleet."""

import csv
from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command

from analytics.costing.prices import price_book
from analytics.costing.reckoning import costs_of
from analytics.costing.storing import COLUMNS, cost_rows, costs_by_appliance
from analytics.costing.totals import burners_together, total_of
from analytics.models import DriftPointer, DriftRun, PeriodBias, TuningCost
from analytics.selectors import cost_sentence, cost_story
from combustion.balance import co2_from_phi, o2_from_co2
from combustion.fuels import FUELS
from combustion.readings import Readings
from combustion.savings import efficiency_change
from common.bulk import rows_write
from fleet.models import GasPrice
from tests import factories as make

AS_OF = date(2026, 6, 1)
GAS = FUELS["natural_gas"]
TARGET_CO2 = 9.0
DAY = {"flue_temp_c": 85.0, "air_temp_c": 20.0, "return_temp_c": 70.0, "co_ppm": 30.0}
"""Well above the dew point, so that the doubt of the flue's temperature weighs little."""


@pytest.fixture
def run(db):
    return DriftRun.objects.create(kind="nightly", started_at="2026-06-01T02:00Z", as_of=AS_OF)


def burner_of(co2_pct, *, low_co2_pct=None, period=None, **appliance):
    """An appliance whose targets are 9 % CO2 at both points, found once at some CO2."""
    row = make.ApplianceFactory(**appliance)
    for point in ("high", "low"):
        make.FiringSpecFactory(model=row.model, point=point)
    visit = make.VisitFactory(
        appliance=row, closed_at="2026-03-02T10:00Z", outcome="completed", analyser_period=period
    )
    for point, co2 in (("high", co2_pct), ("low", low_co2_pct or co2_pct)):
        o2 = float(o2_from_co2(co2, GAS, 30.0))
        make.FiringTestFactory(visit=visit, point=point, o2_pct=o2, co2_pct=co2, **DAY)
    return row


def reckoned(run, *appliances):
    """The rows of these appliances, stored under the run, in order."""
    costs = costs_of([row.pk for row in appliances], as_of=AS_OF, run=run)
    rows_write(TuningCost, COLUMNS, list(cost_rows(run, costs)))
    return list(TuningCost.objects.filter(run=run).order_by("appliance_id")), costs


def test_the_sheet_of_costs_says_where_each_appliance_stands(run, tmp_path):
    (row,), _ = reckoned(run, burner_of(8.0))
    DriftPointer.objects.update_or_create(only=1, defaults={"current": run})
    call_command("export_costs", str(tmp_path / "costs.csv"))
    with (tmp_path / "costs.csv").open(encoding="utf-8", newline="") as file:
        (line,) = csv.DictReader(file)
    plant = row.appliance.plant
    assert [line[name] for name in ("appliance", "customer", "site", "plant")] == [
        row.appliance.tag, plant.site.customer.name, plant.site.name, plant.name
    ]  # fmt: skip


def test_a_leaner_burner_loses_what_the_what_if_of_the_flue_gas_page_says(run):
    """The same change of excess air through the older function; apart is only that the flue cools with it."""
    (row,), _ = reckoned(run, burner_of(8.0))
    target = float(1.0 / np.exp(-np.log1p(row.high_target_excess_air_pct / 100.0)))
    assert co2_from_phi(1.0 / target, GAS) == pytest.approx(TARGET_CO2)
    now = Readings(
        o2_pct=float(o2_from_co2(8.0, GAS, 30.0)),
        **{k: DAY[k] for k in ("flue_temp_c", "air_temp_c", "co_ppm")},
    )
    change = efficiency_change(now, GAS, excess_air_pct=row.high_target_excess_air_pct)
    bare = float(change.fuel_saved_pct.value)
    assert bare < row.lost_pct < 2.0 * bare
    assert row.use_kwh == pytest.approx(100.0 * 1500.0)
    assert row.lost_kwh == pytest.approx(row.use_kwh * row.lost_pct / 100.0)
    assert 0.0 < row.lost_low_kwh < row.lost_kwh < row.lost_high_kwh
    assert row.use_source == "assumed"
    assert "lost about" in cost_sentence(row)


def test_at_its_target_nothing_is_told_and_on_less_air_the_words_are_of_risk(run):
    (good, rich), _ = reckoned(run, burner_of(TARGET_CO2), burner_of(10.6))
    assert good.lost_low_kwh < 0.0 < good.lost_high_kwh
    assert "could as well be nothing" in cost_sentence(good)
    assert rich.lost_high_kwh < 0.0
    assert "a risk, not a gain" in cost_sentence(rich)
    assert "belongs at its target" in cost_sentence(rich)


def test_the_analysers_bias_is_taken_off_and_what_is_known_of_it_narrows_the_interval(run):
    period = make.AnalyserPeriodFactory()
    biased, unknown = burner_of(8.6, period=period), burner_of(8.6)
    PeriodBias.objects.create(
        run=run, period=period, bias_co2_pct=-0.4, bias_u_co2_pct=0.02, readings=30, weak=False
    )
    (told, plain), _ = reckoned(run, biased, unknown)
    assert told.lost_low_kwh < 0.0 < told.lost_high_kwh
    assert plain.lost_kwh > 4.0 * abs(told.lost_kwh)
    assert abs(told.part_analyser_kwh) < 0.5 * abs(plain.part_analyser_kwh)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"o2_pct": 0.0}, "rich"),
        ({"flue_temp_c": None}, "no_flue_temp"),
    ],
)
def test_what_cannot_be_reckoned_says_why(run, change, reason):
    appliance = burner_of(8.0)
    appliance.burners.get().firing_tests.update(**change)
    (row,), costs = reckoned(run, appliance)
    assert (row.reason, row.lost_kwh) == (reason, None)
    assert costs_by_appliance(costs) == {}
    assert "no cost can be reckoned" in cost_sentence(row)


def test_without_target_or_input_there_is_no_figure(run):
    no_target, no_input = burner_of(8.0), burner_of(8.0, input_gross_kw=None, model__input_gross_kw=None)
    no_target.model.firing_specs.all().delete()
    rows, _ = reckoned(run, no_target, no_input)
    assert [row.reason for row in rows] == ["no_target", "no_use"]


def test_a_stated_year_goes_before_the_plants_and_that_before_the_assumption(run):
    appliance = burner_of(8.0)
    beside = make.ApplianceFactory(plant=appliance.plant, input_gross_kw=300.0)
    stated = {"annual_gas_u_pct": 3.0, "annual_gas_source": "bills"}
    type(appliance.plant).objects.update(annual_gas_kwh=400_000.0, **stated)
    (shared,), _ = reckoned(run, appliance)
    assert (shared.use_source, shared.use_kwh) == ("plant", pytest.approx(100_000.0))
    TuningCost.objects.all().delete()
    type(appliance).objects.filter(pk=appliance.pk).update(annual_gas_kwh=90_000.0, **stated)
    (own,), _ = reckoned(run, appliance)
    assert (own.use_source, own.use_kwh) == ("appliance", pytest.approx(90_000.0))
    assert own.part_use_kwh == 0.0
    assert own.lost_high_kwh - own.lost_low_kwh < shared.lost_high_kwh - shared.lost_low_kwh
    beside.annual_gas_kwh = 5.0
    with pytest.raises(ValidationError, match="its uncertainty and its source"):
        beside.full_clean()


def test_the_contracts_price_wins_then_the_customers_then_the_firms(run):
    appliance = burner_of(8.0)
    customer = appliance.plant.site.customer
    contract = make.ContractFactory(customer=customer)
    contract.plants.add(appliance.plant)
    place = (appliance.plant_id, customer.pk, "natural_gas")

    def state(price, fuel="", on=date(2026, 1, 1), **owner):
        GasPrice.objects.create(
            price_per_kwh=Decimal(price), currency="GBP", fuel=fuel, in_force_on=on, source="bill", **owner
        )

    assert price_book(AS_OF).of(*place) is None
    assert cost_story(reckoned(run, appliance)[0]).no_price
    TuningCost.objects.all().delete()
    for price, owner in (("0.05", {}), ("0.06", {"customer": customer}), ("0.07", {"contract": contract})):
        state(price, **owner)
        assert price_book(AS_OF).of(*place) == (float(price), "GBP")
    state("0.08", fuel="natural_gas", contract=contract)
    state("0.99", fuel="natural_gas", contract=contract, on=date(2027, 1, 1))
    assert price_book(AS_OF).of(*place) == (0.08, "GBP")
    assert price_book(AS_OF).of(place[0], place[1], "propane") == (0.07, "GBP")
    story = cost_story(reckoned(run, appliance)[0])
    money = next(figure for figure in story.figures if figure.currency)
    assert money.reach.value == pytest.approx(0.08 * story.rows[0].lost_kwh)
    with pytest.raises(ValidationError, match="a price for that fuel from that day"):
        GasPrice(price_per_kwh=1, currency="GBP", in_force_on=date(2026, 1, 1), source="x").full_clean()


def test_what_burners_share_is_added_fully_and_what_is_their_own_as_squares(run):
    """By hand: two equal burners. One analyser: its parts add; two analysers: only their squares do."""
    period, other = make.AnalyserPeriodFactory(), make.AnalyserPeriodFactory()
    reckoned(run, *(burner_of(8.0, period=one) for one in (period, period, other)))
    rows = TuningCost.objects.filter(run=run).order_by("pk")
    one = rows[0]
    common = [getattr(one, f"part_{name}_kwh") for name in ("gas", "air", "flue", "response", "split", "use")]
    for chosen, analysers in ((rows[:2], 4.0), ([rows[0], rows[2]], 2.0)):
        half = 1.959964 * np.sqrt(
            2.0 * one.part_own_kwh**2
            + analysers * one.part_analyser_kwh**2
            + 4.0 * sum(part**2 for part in common)
        )
        total = total_of(TuningCost.objects.filter(pk__in=[row.pk for row in chosen]))
        assert total.energy_kwh.value == pytest.approx(2.0 * one.lost_kwh)
        assert total.energy_kwh.high - total.energy_kwh.value == pytest.approx(half)
        assert total.co2_kg.value == pytest.approx(2.0 * one.lost_kwh * GAS.co2_kg_per_kwh_gross)
        together = burners_together(list(chosen))
        assert together.high == pytest.approx(total.energy_kwh.high)
    assert (total.costing, total.priced, total.money) == (2, 0, {})
    assert burners_together([one]).high == one.lost_high_kwh
