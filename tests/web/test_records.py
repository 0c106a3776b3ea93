"""What the office keeps: added, edited, refused by field; the second editor sees what the first changed."""

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from scipy import constants

from common.editing import values_of
from common.models import AuditLine
from common.problems import Problem
from fleet.models import AnalyserPeriod, Appliance, Contract, Customer, PartFitted
from fleet.records import record_add, record_change
from people.licences import licence_add
from people.models import Licence
from planning.models import FollowUp
from tests import factories as make


def form_of(client, address) -> dict:
    """What a browser would send back of an untouched form."""
    form = client.get(address).context["form"]
    return {
        bound.html_name: "" if bound.value() is None else bound.value()
        for bound in form
        if bound.value() is not False
    }


def test_the_office_builds_a_customer_down_to_its_burner_and_a_contract(fleet, page_of) -> None:
    client = page_of(fleet.office)

    def add(kind, parent, **typed):
        answer = client.post(reverse("web:record-add", args=[kind, parent]), typed)
        assert answer.status_code == 302, answer.context["form"].errors
        return answer

    add("customer", 0, name="Wharf Baths", country="GB")
    customer = Customer.objects.get(name="Wharf Baths")
    add("site", customer.pk, name="Wharf Lane", time_zone="Europe/London")
    site = customer.sites.get()
    add("plant", site.pk, name="Plant room", sequencing="stand_alone")
    plant = site.plants.get()
    model = fleet.appliance.model_id
    typed = {"tag": "B1", "model": model, "fuel": "natural_gas", "air_source": "room"}
    add("appliance", plant.pk, **typed, input_stated_basis="gross")
    appliance = plant.appliances.get()
    assert appliance.burners.count() == 1
    contract = {"reference": "WB-1", "plants": [plant.pk], "interval_months": 12, "rule": "from_last_done"}
    window = {"window_before_days": 30, "window_after_days": 30, "avoid_months": [7, 8]}
    add("contract", customer.pk, **contract, **window, starts_on="2026-01-01")
    assert Contract.objects.get(reference="WB-1").avoid_months == [7, 8]
    appliance.refresh_from_db()
    assert appliance.next_due_on is not None


@pytest.mark.parametrize(
    ("kind", "typed", "field"),
    [
        ("customer", {"name": "", "country": "GB"}, "name"),
        ("customer", {"name": "Aldermere Schools Trust", "country": "GB"}, "name"),
        ("analyser", {"tag": "P4-99", "settle_s": "soon"}, "settle_s"),
    ],
)
def test_the_form_says_which_field_and_keeps_what_was_typed(fleet, page_of, kind, typed, field) -> None:
    answer = page_of(fleet.office).post(reverse("web:record-add", args=[kind, 0]), typed)
    assert answer.status_code == 200
    assert field in answer.context["form"].errors
    assert all(f'value="{text}"' in answer.text for text in typed.values() if text)


def test_a_us_editor_types_feet_and_fahrenheit_and_what_is_not_touched_stays_to_the_last_digit(
    fleet, page_of
) -> None:
    fleet.site.elevation_m, fleet.site.design_winter_air_c = 83.7, -5.3
    fleet.site.save()
    fleet.office.units = "us"
    fleet.office.save()
    client = page_of(fleet.office)
    address = reverse("web:record-change", args=["site", fleet.site.pk])
    typed = form_of(client, address)
    assert typed["elevation_m"] == pytest.approx(83.7 / constants.foot, rel=1e-5)
    assert "Elevation, ft" in client.get(address).text
    assert client.post(address, {**typed, "design_summer_air_c": "86"}).status_code == 302
    fleet.site.refresh_from_db()
    stored = (fleet.site.elevation_m, fleet.site.design_winter_air_c, fleet.site.design_summer_air_c)
    assert stored == (83.7, -5.3, pytest.approx(30.0))


def test_a_us_editor_types_the_years_gas_in_therms(fleet, page_of) -> None:
    fleet.office.units = "us"
    fleet.office.save()
    client = page_of(fleet.office)
    address = reverse("web:record-change", args=["plant", fleet.appliance.plant_id])
    assert "Gas in a usual year, gross heat, therm" in client.get(address).text
    stated = {"annual_gas_kwh": "1000", "annual_gas_u_pct": "3", "annual_gas_source": "bills"}
    assert client.post(address, {**form_of(client, address), **stated}).status_code == 302
    fleet.appliance.plant.refresh_from_db()
    therm_kwh = 1e5 * constants.Btu_IT / constants.hour / 1000
    assert fleet.appliance.plant.annual_gas_kwh == pytest.approx(1000 * therm_kwh, rel=1e-6)


def test_a_figure_outside_its_range_and_a_twin_are_refused_in_words(fleet, page_of) -> None:
    client = page_of(fleet.office)
    address = reverse("web:record-change", args=["site", fleet.site.pk])
    answer = client.post(address, {**form_of(client, address), "elevation_m": "9000"})
    assert "elevation_m must lie between -450 and 5000" in answer.text
    twin = {"tag": "B2", "model": fleet.appliance.model_id, "fuel": "natural_gas", "air_source": "room"}
    address = reverse("web:record-add", args=["appliance", fleet.appliance.plant_id])
    answer = client.post(address, {**twin, "input_stated_basis": "gross"})
    assert answer.status_code == 200
    assert "Tag" in answer.text
    assert Appliance.objects.filter(plant=fleet.appliance.plant_id, tag="B2").count() == 1


def test_the_second_editor_sees_what_changed_and_may_then_save(fleet, page_of) -> None:
    client = page_of(fleet.office)
    address = reverse("web:record-change", args=["site", fleet.site.pk])
    mine = {**form_of(client, address), "name": "Fenwick Road Primary"}
    theirs = {**form_of(client, address), "access_notes": "New lock, code at the office"}
    assert page_of(fleet.manager).post(address, theirs).status_code == 302
    refused = client.post(address, mine)
    assert "New lock, code at the office" in refused.text
    assert "Fenwick Road Primary" in refused.text
    fleet.site.refresh_from_db()
    assert fleet.site.name == "Fenwick Road School"
    again = {**mine, "seen": refused.context["form"].data["seen"], "access_notes": theirs["access_notes"]}
    assert client.post(address, again).status_code == 302
    fleet.site.refresh_from_db()
    assert (fleet.site.name, fleet.site.access_notes) == ("Fenwick Road Primary", theirs["access_notes"])


def test_a_form_without_its_seal_changes_nothing(fleet, page_of) -> None:
    client = page_of(fleet.office)
    address = reverse("web:record-change", args=["site", fleet.site.pk])
    answer = client.post(address, {**form_of(client, address), "name": "Other", "seen": "made up"})
    assert answer.status_code == 200
    fleet.site.refresh_from_db()
    assert fleet.site.name == "Fenwick Road School"


def test_a_changed_fan_limit_starts_a_new_state_of_the_trims_and_is_on_record(fleet) -> None:
    burner = fleet.appliance.burners.get()
    fields = {"fan_high_rpm": 5200.0, "fan_low_rpm": 1300.0}
    seen = values_of(burner, fields)
    record_change(by=fleet.office, row=burner, values=fields, seen=seen)
    assert PartFitted.objects.get().part == "fan limit"
    line = AuditLine.objects.get(verb="changed", subject_id=burner.pk)
    assert line.detail["changed"]["fan_high_rpm"] == ["None", "5200.0"]
    with pytest.raises(Problem) as refusal:
        record_change(by=fleet.office, row=burner, values=fields, seen=seen)
    assert {row["field"] for row in refusal.value.errors} == {"/fan_high_rpm", "/fan_low_rpm"}


def test_periods_channels_and_licences_are_kept_on_their_pages(fleet, page_of) -> None:
    client = page_of(fleet.office)
    analyser = AnalyserPeriod.objects.first().analyser
    typed = {"began": "calibration", "starts_on": "2026-10-01", "calibration_due_on": "2027-10-01"}
    client.post(reverse("web:record-add", args=["period", analyser.pk]), typed)
    client.post(
        reverse("web:record-add", args=["channel", analyser.pk]), {"quantity": "o2_pct", "source": "measured"}
    )
    text = client.get(reverse("web:kit")).text
    assert "1 Oct 2027" in text
    assert "O2, dry vol %" in text
    crew = fleet.technician.technician
    licence = {"scheme": "Aldermere gas register", "number": "AGR 900", "work": "service", "fuels": "all"}
    client.post(reverse("web:record-add", args=["licence", crew.pk]), {**licence, "starts_on": "2026-01-01"})
    assert Licence.objects.filter(number="AGR 900", technician=crew).exists()
    assert "AGR 900" in client.get(reverse("web:crew")).text


def test_a_technician_keeps_no_records(fleet) -> None:
    with pytest.raises(PermissionDenied):
        record_add(by=fleet.technician, row=Customer(name="Nobody's"))
    with pytest.raises(PermissionDenied):
        licence_add(by=fleet.technician, row=Licence(technician=fleet.technician.technician))


def test_a_kind_that_is_not_kept_is_not_found(fleet, page_of) -> None:
    assert page_of(fleet.office).get(reverse("web:record-add", args=["visit", 0])).status_code == 404


def test_a_follow_up_is_closed_with_a_word_on_how(fleet, page_of) -> None:
    row, client = FollowUp.objects.get(), page_of(fleet.office)
    address = reverse("web:follow-up", args=[row.pk])
    assert client.post(address, {"note": ""}).context["form"].errors["note"]
    assert client.post(address, {"note": "Customer moved out"}).status_code == 302
    row.refresh_from_db()
    assert (row.state, row.done_by, row.note) == ("done", fleet.office, "Customer moved out")
    assert "no longer open" in client.post(address, {"note": "again"}).text


def test_the_lists_cost_the_same_however_long(fleet, page_of) -> None:
    """Session and user; analysers, channels, periods; people, technicians, licences."""
    client = page_of(fleet.office)

    def queries() -> list[int]:
        counts = []
        for name in ("kit", "crew"):
            with CaptureQueriesContext(connection) as caught:
                assert client.get(reverse(f"web:{name}")).status_code == 200
            counts.append(len(caught))
        return counts

    few = queries()
    for _ in range(20):
        make.AnalyserPeriodFactory()
        make.LicenceFactory()
    assert queries() == few
