"""A supplier's gas on a date: what a visit is judged by, for how many queries, and who reports it."""

import json
from datetime import date

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from combustion.balance import air_ratio_from_o2
from combustion.fuels import FUELS, custom_fuel
from common.models import AuditLine
from fleet.models import SuppliedGas
from fleet.selectors import gas_book
from fleet.services import gas_report
from people.models import Role
from tests.factories import GasAreaFactory, UserFactory
from tests.visits.bodies import closed, codes, finding, visit_body
from visits.judging import judge_visits
from visits.models import TestResult

LEAN = {"methane": 0.86, "nitrogen": 0.10, "carbon_dioxide": 0.04}
REPORT = {
    "fuel": "natural_gas",
    "composition": LEAN,
    "from_on": date(2026, 3, 1),
    "source": "the supplier's report of March",
}


@pytest.fixture
def office(db):
    return UserFactory(role=Role.OFFICE)


def ratio_of(scene):
    return TestResult.objects.get(test__visit__uuid=scene.uuid, test__key="found-high").air_ratio


def from_o2_alone(body):
    for test in body["tests"]:
        del test["readings"][0]["co2_pct"]
    return body


def test_a_visit_is_judged_by_the_gas_its_site_burned_that_day(scene, office):
    """Air ratio by mole balance from O2 (docs/formulas.md, «air ratio») on the gas as supplied."""
    site = scene.appliance.plant.site
    gas_report(by=office, site=site, **REPORT)
    assert scene.put(from_o2_alone(visit_body(scene.appliance, scene.analyser))).status_code == 201
    lean, usual = (
        float(air_ratio_from_o2(4.86, gas, 22.0)) for gas in (custom_fuel(LEAN), FUELS["natural_gas"])
    )
    assert abs(lean - usual) > 0.003
    assert ratio_of(scene) == pytest.approx(lean, abs=1e-9)


def test_a_gas_of_another_day_fuel_or_place_changes_nothing(scene, office):
    site = scene.appliance.plant.site
    gas_report(by=office, site=site, **REPORT | {"from_on": date(2026, 3, 3)})
    gas_report(by=office, site=site, **REPORT | {"fuel": "propane"})
    gas_report(by=office, gas_area=GasAreaFactory(), **REPORT)
    scene.put(from_o2_alone(visit_body(scene.appliance, scene.analyser)))
    usual = float(air_ratio_from_o2(4.86, FUELS["natural_gas"], 22.0))
    assert ratio_of(scene) == pytest.approx(usual, abs=1e-9)


def test_the_sites_own_gas_wins_over_its_areas_and_the_later_over_the_earlier(scene, office):
    site = scene.appliance.plant.site
    site.gas_area = GasAreaFactory()
    site.save()
    area = gas_report(by=office, gas_area=site.gas_area, **REPORT)
    assert gas_book([site]).in_force(site, date(2026, 4, 1)) == {"natural_gas": area.as_fuel()}
    own = gas_report(by=office, site=site, **REPORT | {"composition": {"methane": 1.0}})
    later = gas_report(by=office, site=site, **REPORT | {"from_on": date(2026, 6, 1)})
    book = gas_book([site])
    assert book.in_force(site, date(2026, 2, 28)) == {}
    assert book.in_force(site, date(2026, 4, 1)) == {"natural_gas": own.as_fuel()}
    assert book.in_force(site, date(2026, 6, 1)) == {"natural_gas": later.as_fuel()}


def test_judging_again_takes_a_gas_that_was_reported_since_and_agrees_with_the_save(scene, office):
    scene.put(from_o2_alone(visit_body(scene.appliance, scene.analyser)))
    before = ratio_of(scene)
    gas_report(by=office, site=scene.appliance.plant.site, **REPORT)
    judge_visits([scene.visit.pk])
    again = ratio_of(scene)
    assert again != before
    assert again == pytest.approx(float(air_ratio_from_o2(4.86, custom_fuel(LEAN), 22.0)), abs=1e-9)


def test_two_channels_that_contradict_the_catalogues_gas_agree_with_the_supplied_one(scene, office):
    """Dry CO2max of pure ethane is 13.2 %, of natural gas 11.8 (COMPUTED from composition)."""
    rich_gas = {"ethane": 0.7, "methane": 0.3}
    co2_pct = custom_fuel(rich_gas).co2_max_pct * (1.0 - 4.86 / 20.95)
    body = visit_body(scene.appliance, scene.analyser)
    for test in body["tests"]:
        test["co2_source"] = "measured"
        test["readings"][0] |= {"co2_pct": co2_pct, "o2_pct": 4.86, "co_ppm": 0}
    off = scene.put(body).json()
    assert finding(off, "fuel_line_off", "test:found-high")["value"] > 0.5
    gas_report(by=office, site=scene.appliance.plant.site, **REPORT | {"composition": rich_gas})
    assert "fuel_line_off" not in codes(scene.put({**body, "save_no": 2}).json())


def test_a_reported_gas_costs_one_query_and_none_where_there_is_none(scene, office):
    scene.put(visit_body(scene.appliance, scene.analyser), uuid="00000000-0000-7000-8000-00000000000f")

    def queries(uuid):
        with CaptureQueriesContext(connection) as asked:
            answer = scene.put(closed(visit_body(scene.appliance, scene.analyser)), uuid=uuid)
        assert answer.status_code == 201
        return [row["sql"] for row in asked if not row["sql"].startswith(("SAVEPOINT", "RELEASE"))]

    # The catalogue's own composition, so that no finding comes or goes.
    report = REPORT | {"composition": dict(FUELS["natural_gas"].composition)}
    without = queries("00000000-0000-7000-8000-000000000001")
    gas_report(by=office, site=scene.appliance.plant.site, **report)
    with_one = queries("00000000-0000-7000-8000-000000000002")
    gas_report(by=office, site=scene.appliance.plant.site, **report | {"from_on": date(2020, 1, 1)})
    with_two = queries("00000000-0000-7000-8000-000000000003")
    assert len(with_one) == len(with_two) == len(without) + 1 <= 20


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.CONTACT])
def test_only_the_office_reports_a_gas(scene, role):
    with pytest.raises(PermissionDenied):
        gas_report(by=UserFactory(role=role), site=scene.appliance.plant.site, **REPORT)
    assert SuppliedGas.objects.count() == 0


def test_a_gas_that_cannot_be_is_refused_and_leaves_no_record(scene, office):
    site = scene.appliance.plant.site
    for wrong in ({"composition": {"methane": 0.9}}, {"composition": {"peat": 1.0}}, {"source": ""}):
        with pytest.raises(ValidationError):
            gas_report(by=office, site=site, **REPORT | wrong)
    with pytest.raises(ValidationError, match="one of the two"):
        gas_report(by=office, site=site, gas_area=GasAreaFactory(), **REPORT)
    assert (SuppliedGas.objects.count(), AuditLine.objects.filter(verb="gas_reported").count()) == (0, 0)


def test_a_gas_is_reported_over_rest_and_sent_again_takes_the_first_ones_place(scene, office, api_of):
    api = api_of(office)
    body = {
        "site": scene.appliance.plant.site_id,
        "composition": LEAN,
        "from_on": "2026-03-01",
        "source": "x",
    }

    def post(**changes):
        raw = json.dumps({**body, **changes})
        answer = api.post("/api/v1/gas-reports/", raw, content_type="application/json")
        return answer.status_code, answer.json()

    first, second = post(), post(composition={"methane": 1.0})
    assert (first[0], second[0]) == (200, 200)
    assert first[1]["id"] == second[1]["id"]
    assert [line.detail["old"] for line in AuditLine.objects.filter(verb="gas_reported").order_by("pk")] == [
        None,
        LEAN,
    ]
    assert post(composition={"methane": 0.5})[1]["errors"][0]["code"] == "composition_sum"
    assert post(gas_area=1)[1]["errors"][0]["field"] == "/site"
    assert post(site=999_999)[0] == 404
    assert post(from_on="March")[1]["errors"][0]["field"] == "/from_on"
