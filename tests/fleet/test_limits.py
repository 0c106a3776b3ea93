"""Shipped safety limits and which of them holds."""

import importlib
from datetime import date
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import connection

from fleet.models import SafetyLimit
from fleet.selectors import limit_book, limits_in_force
from tests.factories import CustomerFactory
from tests.published import co_limits

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)
shipped = importlib.import_module("fleet.migrations.0002_shipped_safety_limits")


def own_limit(**values):
    row = {
        "quantity": "co_air_free_ppm",
        "level": "make_safe",
        "value": 300.0,
        "source": "agreed with the customer",
        "mark": "own",
        "in_force_on": date(2025, 1, 1),
    }
    return SafetyLimit.objects.create(**row | values)


def value(quantity, level, country="", customer_id=None, on=TODAY):
    return limits_in_force(country, customer_id, on)[quantity, level].value


def test_shipped_levels_are_the_published_ones():
    assert value("co_air_free_ppm", "make_safe", "US") == co_limits.ANSI_VENTED_CO_AIR_FREE_PPM
    assert value("co_ppm", "make_safe", "GB") == co_limits.UK_COMMISSIONING_CO_PPM
    assert value("co_co2_ratio", "make_safe", "GB") == co_limits.UK_COMMISSIONING_CO_CO2_RATIO
    assert value("ambient_co_ppm", "make_safe") == co_limits.NIOSH_CO_TWA_PPM


def test_room_air_is_made_safe_below_every_published_level_of_withdrawal():
    level = value("ambient_co_ppm", "make_safe")
    assert level < co_limits.OSHA_MARITIME_REMOVAL_CO_PPM < co_limits.NIOSH_CO_CEILING_PPM


@pytest.mark.parametrize("country", ["", "GB", "US", "BE"])
def test_investigation_begins_below_the_level_to_make_safe(country):
    limits = limits_in_force(country, None, TODAY)
    pairs = {quantity for quantity, _ in limits}
    assert {"co_air_free_ppm", "co_co2_ratio", "ambient_co_ppm"} <= pairs
    for quantity in pairs:
        assert limits[quantity, "investigate"].value < limits[quantity, "make_safe"].value


def test_every_shipped_limit_names_its_source_and_how_it_was_had():
    for row in SafetyLimit.objects.all():
        assert row.source
        assert row.mark in ("read", "memory", "practice")
        assert (row.mark == "practice") == row.source.startswith("common practice, no source")
        row.full_clean()


def test_a_country_without_rows_has_the_general_ones():
    assert limits_in_force("BE", None, TODAY) == limits_in_force("", None, TODAY)
    assert ("co_ppm", "make_safe") not in limits_in_force("BE", None, TODAY)


def test_the_customers_own_limit_wins_over_the_countrys_whenever_it_was_written():
    customer, another = CustomerFactory(), CustomerFactory()
    own_limit(customer=customer)
    own_limit(country="US", value=350.0, mark="practice", in_force_on=date(2026, 1, 1))
    assert value("co_air_free_ppm", "make_safe", "US", customer.pk) == 300.0
    assert value("co_air_free_ppm", "make_safe", "US", another.pk) == 350.0
    assert value("co_air_free_ppm", "make_safe", "GB", another.pk) == 400.0


def test_a_limit_holds_only_from_its_day():
    own_limit(country="US", value=350.0, in_force_on=date(2026, 1, 1))
    assert value("co_air_free_ppm", "make_safe", "US", on=date(2025, 12, 31)) == 400.0
    assert value("co_air_free_ppm", "make_safe", "US", on=date(2026, 1, 1)) == 350.0


def test_a_book_is_one_query_for_any_number_of_customers(django_assert_num_queries):
    customers = [CustomerFactory() for _ in range(5)]
    with django_assert_num_queries(1):
        book = limit_book()
        for customer in customers:
            book.in_force("GB", customer.pk, TODAY)


def test_withdrawing_the_shipped_limits_leaves_the_firms_own_and_shipping_again_doubles_nothing():
    own = own_limit(customer=CustomerFactory())
    before = SafetyLimit.objects.count()
    editor = SimpleNamespace(connection=connection)
    shipped.withdraw(apps, editor)
    assert list(SafetyLimit.objects.all()) == [own]
    shipped.ship(apps, editor)
    shipped.ship(apps, editor)
    assert SafetyLimit.objects.count() == before
