"""The list a visit is asked for: shipped whole, chosen by country, model, fuel, kind of visit and day."""

from datetime import date
from importlib import import_module

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError

from fleet.items import ItemBook, item_book
from fleet.models import Appliance, ApplianceModel, ItemSet, ServiceItem, WorkStep
from fleet.models.items import VISIT_KINDS
from fleet.reference import GAS_ANNUAL, item_sets_ship, reference_read
from tests import factories as make
from visits.models import Kind

DAY = date(2026, 3, 2)
# What an annual of a gas boiler holds, as the trade lists it; the codes are ours.
ASKED_FOR = {
    "static_inlet_pressure", "working_inlet_pressure", "lock_up_inlet_pressure", "gas_rate_clocked",
    "tightness_method", "tightness_result", "electrodes", "burner", "heat_exchanger", "seals",
    "condensate_trap", "neutraliser", "gas_filter", "air_filter", "water_filter", "flue_terminal",
    "flue_joints", "ventilation", "high_limit", "low_water", "gas_pressure_switch", "blocked_flue_switch",
    "flame_failure_lockout", "relief_valve", "expansion_vessel", "flow_temperature", "return_temperature",
    "water_quality", "fixed_co_alarm", "parameter_backup", "last_faults", "analyser_fresh_air_o2",
    "analyser_co_zero", "analyser_probe_leak", "analyser_filter_trap", "analyser_fuel_setting",
    "room_co_before", "room_co_after", "air_inlet_o2",
}  # fmt: skip


def shipped() -> list[ServiceItem]:
    """The file as rows that were never stored."""
    rows = []
    for number, table in enumerate(reference_read(GAS_ANNUAL)["set"], start=1):
        held = ItemSet(
            pk=number, name=table["name"], country=table.get("country", ""), in_force_on=table["in_force_on"]
        )
        for place, given in enumerate(table["item"]):
            columns = {**given, "choices": [], "position": place}
            columns.setdefault("answer", "choice" if given.get("choices") else "tick")
            rows.append(ServiceItem(item_set=held, **columns))
    return rows


def boiler(**model) -> Appliance:
    return Appliance(model=ApplianceModel(pk=7, **model), model_id=7, fuel="natural_gas")


BOOK = ItemBook(tuple(shipped()))


def test_kinds_of_visit_are_those_of_the_record() -> None:
    assert set(VISIT_KINDS) == set(Kind.values)


def test_a_gas_annual_asks_for_everything_the_trade_lists_in_the_order_of_work() -> None:
    asked = BOOK.asked(boiler(), "", "annual_service", DAY)
    assert asked.keys() >= ASKED_FOR
    steps = [list(WorkStep.values).index(row.step) for row in asked.values()]
    assert steps == sorted(steps)
    assert len(set(steps)) == len(WorkStep)


def test_every_limit_names_its_source_and_every_practice_says_that_it_has_none() -> None:
    for row in BOOK.rows:
        assert row.source, row.code
        if row.mark == "practice" and (row.low is not None or row.high is not None):
            assert "no source" in row.source, row.code
        if row.mark == "memory":
            assert "from memory" in row.source, row.code
        for words in (row.text, row.caution, row.source):
            assert " safe " not in words.replace("make safe", ""), row.code


def test_fresh_air_is_the_air_that_the_science_burns() -> None:
    """Dry air holds 20.95 % O2 (ISO 6976:2016 and the mole balance; tests/published)."""
    row = BOOK.asked(boiler(), "", "annual_service", DAY)["analyser_fresh_air_o2"]
    assert (row.low + row.high) / 2 == pytest.approx(20.95, abs=0.01)


def test_a_country_overlays_only_what_it_has_and_only_for_the_fuel_it_says() -> None:
    general = BOOK.asked(boiler(), "", "annual_service", DAY)
    british = BOOK.asked(boiler(), "GB", "annual_service", DAY)
    assert general.keys() == british.keys()
    assert general["working_inlet_pressure"].low is None
    assert (british["working_inlet_pressure"].low, british["working_inlet_pressure"].high) == (18.0, 23.0)
    assert british["electrodes"] is general["electrodes"]
    on_propane = BOOK.asked(boiler(), "GB", "annual_service", DAY, fuel="propane")
    assert on_propane["working_inlet_pressure"].low is None


def test_a_boiler_that_does_not_condense_has_no_trap_to_clean() -> None:
    asked = BOOK.asked(boiler(condensing=False), "", "annual_service", DAY)
    assert {"condensate_trap", "neutraliser"}.isdisjoint(asked)


def test_a_recheck_is_asked_less_than_an_annual() -> None:
    assert "gas_rate_clocked" not in BOOK.asked(boiler(), "", "recheck", DAY)


def test_a_models_own_row_wins_from_its_day_and_may_leave_an_item_out() -> None:
    own = ItemSet(pk=99, name="CX120", model_id=7, in_force_on=date(2026, 1, 1))
    common = {"item_set": own, "step": "as_found", "position": 1, "source": "the maker", "mark": "maker"}
    rows = (
        ServiceItem(
            code="working_inlet_pressure", text="x", answer="number", unit="mbar", low=17, high=25, **common
        ),
        ServiceItem(code="air_filter", text="x", asked=False, **common),
    )
    book = ItemBook((*BOOK.rows, *rows))
    before = book.asked(boiler(), "GB", "annual_service", date(2025, 12, 31))
    after = book.asked(boiler(), "GB", "annual_service", DAY)
    assert (before["working_inlet_pressure"].high, after["working_inlet_pressure"].high) == (23.0, 25)
    assert "air_filter" in before
    assert "air_filter" not in after


@pytest.mark.django_db
def test_the_file_is_shipped_whole_once_and_never_over_what_was_changed(django_assert_num_queries) -> None:
    with django_assert_num_queries(1):
        rows = item_book().rows
    assert len(rows) == len(BOOK.rows)
    for row in rows:
        row.full_clean(exclude=["item_set"])
    ServiceItem.objects.filter(code="electrodes").update(text="changed by the office")
    assert item_sets_ship(GAS_ANNUAL, ItemSet, ServiceItem) == 0
    assert ServiceItem.objects.get(code="electrodes").text == "changed by the office"


@pytest.mark.django_db
def test_a_source_that_was_read_since_is_told_and_what_the_office_wrote_stays() -> None:
    told = import_module("fleet.migrations.0017_sources_that_were_read")
    shipped = {row.code: row for row in BOOK.rows if row.code in {code for code, *_ in told.CHANGED}}
    for code, before, now, mark in told.CHANGED:
        assert (shipped[code].source, shipped[code].mark) == (now, mark)
        ServiceItem.objects.filter(code=code).update(source=before, mark="memory")
    ServiceItem.objects.filter(code="water_ph").update(source="our own water")
    told.say_what_was_read(apps, None)
    rows = dict(ServiceItem.objects.filter(code__in=shipped).values_list("code", "source"))
    assert rows == {code: row.source for code, row in shipped.items()} | {"water_ph": "our own water"}


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"visit_kinds": ["party"]}, "visit_kinds"),
        ({"fuels": "natural_gas"}, "fuels"),
        ({"choices": [{"code": "a", "text": "A", "means": "fine"}]}, "choices"),
        ({"answer": "choice"}, "choices"),
        ({"low": 2.0, "high": 1.0, "answer": "number"}, "__all__"),
        ({"low": 2.0}, "__all__"),
    ],
)
@pytest.mark.django_db
def test_an_item_that_cannot_be_asked_is_refused_by_its_field(given, field) -> None:
    held = ItemSet.objects.get(country="")
    row = ServiceItem(
        **{"item_set": held, "code": "new", "step": "inspect", "position": 1, "text": "New", "source": "us",
           "mark": "own", **given}
    )  # fmt: skip
    with pytest.raises(ValidationError) as refusal:
        row.full_clean()
    assert list(refusal.value.message_dict) == [field]


@pytest.mark.django_db
def test_a_device_reads_the_list_of_its_appliance(api_of) -> None:
    appliance = make.ApplianceFactory(plant__site__customer__country="GB")
    api = api_of(make.UserFactory(role="technician"))
    answer = api.get("/api/v1/item-sets/", {"appliance": appliance.uuid, "on": "2026-03-02"}).json()
    assert (answer["country"], answer["kind"], answer["on"]) == ("GB", "annual_service", "2026-03-02")
    items = {row["code"]: row for step in answer["steps"] for row in step["items"]}
    assert items["working_inlet_pressure"]["high"] == 23.0
    assert "IGEM" in items["working_inlet_pressure"]["source"]
    assert items["high_limit"]["choices"][-1] == {"code": "failed", "text": "failed", "means": "act"}
    refused = api.get("/api/v1/item-sets/", {"appliance": "B1", "kind": "party"}).json()
    assert [row["field"] for row in refused["errors"]] == ["/appliance", "/kind"]
