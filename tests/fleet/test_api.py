"""The fleet over REST: lists, their words, refusals, and how often the database is asked."""

import uuid
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from combustion.fuels import FUELS
from fleet.models import AnalyserChannel, FuelSlug, SiteContact
from people.models import Role
from tests.factories import (
    AnalyserFactory,
    AnalyserPeriodFactory,
    ApplianceFactory,
    BurnerFactory,
    CustomerFactory,
    FiringSpecFactory,
    ModelTrimFactory,
    PlantFactory,
    SiteFactory,
    UserFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(api_of):
    return api_of(UserFactory(role=Role.OFFICE))


def tags(api, **query):
    answer = api.get("/api/v1/appliances/", query)
    assert answer.status_code == 200, answer.content
    return {row["tag"] for row in answer.data["results"]}


def test_appliances_are_narrowed_by_each_word_and_by_several(office):
    north = PlantFactory(name="North boiler room", site__name="Tarn School")
    one = ApplianceFactory(plant=north, tag="B1", serial="CX-77", next_due_on=date(2026, 3, 1))
    two = ApplianceFactory(plant=north, tag="B2", next_due_on=date(2026, 3, 2))
    three = ApplianceFactory(tag="B1")
    assert tags(office, plant=north.pk) == {"B1", "B2"}
    assert tags(office, site=three.plant.site_id) == {"B1"}
    assert tags(office, tag="B1", site=north.site_id) == {"B1"}
    assert tags(office, serial="CX-77") == {one.tag}
    assert tags(office, q="tarn SCHOOL") == {"B1", "B2"}
    assert tags(office, q="cx-7") == {"B1"}
    assert tags(office, due_before="2026-03-02") == {"B1"}
    assert tags(office, due_before="2026-03-03", q="b2") == {two.tag}
    assert tags(office, q="100%_") == set()


def test_a_retired_appliance_is_never_due(office):
    ApplianceFactory(next_due_on=date(2020, 1, 1), plant__site__retired_on=date(2021, 1, 1))
    assert tags(office, due_before="2026-01-01") == set()


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("due_before=yesterday", "/due_before"),
        ("plant=north", "/plant"),
        ("site=0", "/site"),
        ("taag=B1", "/taag"),
        ("page_size=0", "/page_size"),
        ("page_size=201", "/page_size"),
        ("page_size=²", "/page_size"),
        ("cursor=rubbish", "/cursor"),
        ("cursor=W251bGxd", "/cursor"),
        ("q=%00", "/q"),
    ],
)
def test_a_word_that_cannot_be_taken_is_refused_by_name(office, query, field):
    answer = office.get(f"/api/v1/appliances/?{query}")
    assert answer.status_code == 400
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert [row["field"] for row in answer.json()["errors"]] == [field]


def test_an_appliance_comes_with_burners_trims_and_specs(office):
    appliance = ApplianceFactory()
    BurnerFactory(appliance=appliance, position=2, turndown=8)
    ModelTrimFactory(model=appliance.model)
    FiringSpecFactory(model=appliance.model)
    body = office.get(f"/api/v1/appliances/{appliance.uuid}/").json()
    assert (body["uuid"], body["plant"]["site"]) == (str(appliance.uuid), appliance.plant.site.name)
    assert [(row["position"], row["turndown"]) for row in body["burners"]] == [(1, None), (2, 8.0)]
    assert body["model"]["trims"][0]["trim"] == "throttle"
    assert body["model"]["firing_specs"][0]["target_high_co2_pct"] == 9.2


def test_an_unknown_appliance_is_404(office):
    answer = office.get(f"/api/v1/appliances/{uuid.uuid4()}/")
    assert (answer.status_code, answer.json()["code"]) == (404, "not_found")


def test_a_contact_sees_their_sites_and_their_customer_once(api_of):
    contact = UserFactory(role=Role.CONTACT)
    customer = CustomerFactory()
    mine = [ApplianceFactory(plant__site__customer=customer) for _ in range(2)]
    ApplianceFactory(plant__site__customer=customer)
    for appliance in mine:
        SiteContact.objects.create(site=appliance.plant.site, user=contact)
    api = api_of(contact)
    assert tags(api) == {row.tag for row in mine}
    assert [row["id"] for row in api.get("/api/v1/customers/").data["results"]] == [customer.pk]
    assert {row["id"] for row in api.get("/api/v1/sites/").data["results"]} == {
        row.plant.site_id for row in mine
    }
    assert {row["id"] for row in api.get("/api/v1/plants/").data["results"]} == {row.plant_id for row in mine}


def test_how_to_get_in_is_told_in_no_list(office):
    PlantFactory(access_notes="key safe 4711", site__access_notes="alarm 0815")
    for name in ("sites", "plants", "customers"):
        text = office.get(f"/api/v1/{name}/").content.decode()
        assert "4711" not in text
        assert "0815" not in text


def test_an_analyser_comes_with_channels_and_periods_in_order(office):
    analyser = AnalyserFactory(serial="77")
    AnalyserChannel.objects.create(analyser=analyser, quantity="o2_pct", source="measured", accuracy_abs=0.3)
    AnalyserPeriodFactory(analyser=analyser, starts_on=date(2026, 1, 1))
    AnalyserPeriodFactory(analyser=analyser, starts_on=date(2025, 1, 1), calibration_due_on=date(2026, 1, 1))
    AnalyserFactory()
    (row,) = office.get("/api/v1/analysers/?serial=77").json()["results"]
    assert row["channels"][0]["source"] == "measured"
    assert [period["starts_on"] for period in row["periods"]] == ["2025-01-01", "2026-01-01"]


def test_pages_by_cursor_hold_every_row_once_while_rows_are_added(office):
    rows = [SiteFactory() for _ in range(7)]
    seen, address = [], "/api/v1/sites/?page_size=3"
    while address:
        body = office.get(address).json()
        seen += [row["id"] for row in body["results"]]
        address = body["next"]
        SiteFactory()
    assert seen == [row.pk for row in reversed(rows)]


def one_appliance():
    appliance = ApplianceFactory()
    ModelTrimFactory(model=appliance.model)
    FiringSpecFactory(model=appliance.model)


def one_analyser():
    AnalyserPeriodFactory()


@pytest.mark.parametrize(
    ("address", "make", "queries"),
    [
        ("customers/", CustomerFactory, 1),
        ("sites/", SiteFactory, 1),
        ("plants/", PlantFactory, 1),
        ("appliances/", one_appliance, 1),
        ("analysers/", one_analyser, 3),  # analysers, channels, periods
        ("models/", one_appliance, 3),  # models with makers, trims, specs
    ],
)
def test_a_list_asks_the_same_of_the_database_for_2_rows_as_for_50(office, address, make, queries):
    office.get("/api/v1/fuels/")  # the token's first use is noted
    counts = []
    for more in (2, 48):
        for _ in range(more):
            make()
        with CaptureQueriesContext(connection) as asked:
            assert office.get(f"/api/v1/{address}").status_code == 200
        counts.append(len(asked))
    assert counts == [1 + queries] * 2  # and the token with its person


def test_the_slugs_of_fleet_and_combustion_are_the_same():
    assert set(FuelSlug.values) == set(FUELS)


def test_methane_is_told_as_iso_6976_tabulates_it(office):
    """ISO 6976:2016: molar 891.51 kJ/mol at 15 °C (table A.4, READ); volume 37.78 MJ/m³ real gas COMPUTED."""
    body = office.get("/api/v1/fuels/methane/").json()
    assert body["reference"] == "15/15"
    assert body["gross_kj_mol"] == pytest.approx(891.51, abs=0.01)
    assert body["gross_mj_m3"] == pytest.approx(37.78, abs=0.01)
    assert body["co2_max_pct"] == pytest.approx(11.70, abs=0.02)
    cold = office.get("/api/v1/fuels/methane/?reference=25/0").json()
    assert cold["gross_kj_mol"] == pytest.approx(890.58, abs=0.01)


def test_all_fuels_are_listed_and_an_unknown_reference_or_fuel_is_refused(office):
    assert {row["slug"] for row in office.get("/api/v1/fuels/").json()} == set(FUELS)
    refused = office.get("/api/v1/fuels/?reference=10/10")
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (400, "/reference")
    assert office.get("/api/v1/fuels/peat/").status_code == 404
