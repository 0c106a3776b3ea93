"""What leaves as a sheet or over REST: every burner and trim, units said, nothing a spreadsheet would run."""

import csv

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analytics.exports import ANALYSER_COLUMNS, DRIFT_COLUMNS
from analytics.models import PeriodBias, TrimDrift
from analytics.services import current_run
from fleet.models import AnalyserPeriod, Appliance, ApplianceModel, Plant
from people.models import Role
from tests.analytics.fleets import imported
from tests.factories import ApplianceFactory, PlantFactory, UserFactory

pytestmark = pytest.mark.django_db


def exported(command, path):
    call_command(command, str(path))
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    return rows[0], [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]


@pytest.fixture
def fleet(tmp_path):
    fleet = imported(tmp_path)
    call_command("recompute_drift")
    return fleet


def test_the_drift_sheet_has_one_row_per_appliance_burner_and_trim(fleet, tmp_path):
    header, rows = exported("export_drift", tmp_path / "drift.csv")
    assert header == list(DRIFT_COLUMNS)
    named = {(row["appliance"], row["burner"], row["trim"]) for row in rows}
    units = range(fleet.options.appliances)
    assert named == {(f"B{unit}", "1", trim) for unit in units for trim in ("throttle", "offset")}
    assert len(rows) == len(named)
    stored = TrimDrift.objects.get(run=current_run(), appliance__tag="B3", trim="throttle")
    row = next(row for row in rows if (row["appliance"], row["trim"]) == ("B3", "throttle"))
    assert float(row["drift_per_year"]) == pytest.approx(stored.drift_per_year, abs=1e-6)
    assert float(row["drift_low"]) < float(row["drift_per_year"]) < float(row["drift_high"])
    assert {row["unit"] for row in rows} == {"% of K a year", "Pa a year"}
    assert {row["flagged"] for row in rows} <= {"true", "false"}
    assert {row["visits"] for row in rows} == {str(fleet.options.visits)}


def test_two_boilers_of_one_tag_are_told_apart_by_their_places(fleet, tmp_path):
    Appliance.objects.filter(tag="B3").update(
        tag="B2", plant=PlantFactory(name="Roof", site__name="Tarn Lodge")
    )
    _, rows = exported("export_drift", tmp_path / "drift.csv")
    named = {(row["customer"], row["site"], row["plant"]) for row in rows if row["appliance"] == "B2"}
    plants = Plant.objects.filter(appliances__tag="B2").select_related("site__customer")
    assert named == {(plant.site.customer.name, plant.site.name, plant.name) for plant in plants}
    assert len(named) == 2


def test_an_offset_without_a_known_air_signal_is_given_in_thousandths_of_w(tmp_path):
    imported(tmp_path)
    ApplianceModel.objects.update(control_pressure_pa=None)
    call_command("recompute_drift")
    _, rows = exported("export_drift", tmp_path / "drift.csv")
    assert {row["unit"] for row in rows if row["trim"] == "offset"} == {"1e-3 of w a year"}


def test_a_burner_without_an_estimate_has_empty_cells_and_a_reason(fleet, tmp_path):
    odd = ApplianceModel.objects.create(
        maker_id=ApplianceModel.objects.first().maker_id, name="AT60", ratio_control="atmospheric"
    )
    ApplianceFactory(tag="=2+3", model=odd)
    ApplianceFactory(tag="B999", model=ApplianceModel.objects.exclude(pk=odd.pk).first())
    _, rows = exported("export_drift", tmp_path / "drift.csv")
    inert = [row for row in rows if row["appliance"] == "'=2+3"]
    assert len(inert) == 2
    for row in [*inert, *(row for row in rows if row["appliance"] == "B999")]:
        assert row["reason"]
        assert row["drift_per_year"] == row["drift_low"] == row["wander_probability"] == ""
        assert row["flagged"] == "false"


def test_the_analysers_sheet_has_one_row_per_period(fleet, tmp_path):
    header, rows = exported("export_analysers", tmp_path / "analysers.csv")
    assert header == list(ANALYSER_COLUMNS)
    assert len(rows) == PeriodBias.objects.filter(run=current_run()).count()


def test_a_sheet_that_cannot_be_written_is_refused_and_leaves_nothing(fleet, tmp_path):
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("export_drift", str(tmp_path / "away" / "drift.csv"))
    assert list(tmp_path.glob("*.part")) == []


def test_drift_over_rest_leads_through_every_row_once(fleet, api_of):
    api = api_of(UserFactory(role=Role.TECHNICIAN))
    address, seen = "/api/v1/drift/?page_size=7", []
    while address:
        page = api.get(address).json()
        seen += [(row["burner"], row["trim"]) for row in page["results"]]
        address = page["next"]
    assert len(seen) == len(set(seen)) == 2 * fleet.options.appliances
    appliance = Appliance.objects.get(tag="B3")
    mine = api.get(f"/api/v1/drift/?appliance={appliance.uuid}&trim=offset").json()["results"]
    assert [(row["tag"], row["trim"], row["unit"]) for row in mine] == [("B3", "offset", "Pa a year")]
    assert api.get("/api/v1/drift/?flagged=maybe").status_code == 400


def test_drift_over_rest_as_csv_is_the_same_sheet(fleet, api_of, tmp_path):
    api = api_of(UserFactory(role=Role.OFFICE))
    call_command("export_drift", str(tmp_path / "drift.csv"))
    sheet = (tmp_path / "drift.csv").read_bytes()
    for answer in (api.get("/api/v1/drift/?format=csv"), api.get("/api/v1/drift/", HTTP_ACCEPT="text/csv")):
        assert answer.status_code == 200
        assert answer["Content-Type"].startswith("text/csv")
        assert b"".join(answer.streaming_content) == sheet


def test_a_page_of_drift_takes_the_same_number_of_queries_whatever_its_length(fleet, api_of):
    api = api_of(UserFactory(role=Role.MANAGER))
    api.get("/api/v1/drift/")
    counts = []
    for size in (2, 40):
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert len(api.get(f"/api/v1/drift/?page_size={size}").json()["results"]) == size
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_biases_are_handed_to_the_periods_that_the_fleet_owns(fleet):
    run = current_run()
    for row in PeriodBias.objects.filter(run=run):
        period = AnalyserPeriod.objects.get(pk=row.period_id)
        assert (period.bias_run, period.bias_readings) == (run.pk, row.readings)
        assert period.bias_co2_pct == row.bias_co2_pct
