"""The visit form in the browser: the same save as any device's, with nothing lost."""

import uuid

import pytest
from django.urls import reverse
from django.utils import timezone

from tests import factories as make
from tests.web.small_fleet import SmallFleet, person
from visits.models import FiringTest, Visit


@pytest.fixture
def entry(fleet: SmallFleet, page_of):
    """A technician before a fresh form: the client, and its address."""
    address = reverse("web:enter-visit", args=[uuid.uuid4()]) + f"?appliance={fleet.appliance.pk}"
    return page_of(fleet.technician), address


def typed(**more: str) -> dict[str, str]:
    """The least that a form sends, and what was typed beside it."""
    return {"head-kind": "annual_service", "revision": ""} | {
        name.replace("__", "-"): value for name, value in more.items()
    }


READINGS = {
    "b1-as_found-high-co2_pct": "9.40",
    "b1-as_found-high-co_ppm": "40",
    "b1-as_found-high-flue_temp_c": "60",
    "b1-as_found-high-settled": "on",
    "b1-as_found-low-co2_pct": "8.50",
    "b1-as_found-low-settled": "on",
}


def saved(address: str) -> Visit:
    return Visit.objects.get(uuid=address.split("/")[2])


def test_what_is_typed_is_stored_judged_and_shown_again(entry) -> None:
    client, address = entry
    answer = client.post(address, typed() | READINGS, follow=True)
    visit = saved(address)
    assert visit.source == "browser"
    assert answer.redirect_chain[-1][0].endswith("#judgement")
    assert {(test.point, test.co2_pct) for test in visit.firingtests.all()} == {("high", 9.4), ("low", 8.5)}
    assert visit.health_as_found is not None
    assert 'value="9.4"' in answer.text
    assert "Judgement so far" in answer.text


def test_a_second_save_changes_only_what_was_changed(entry) -> None:
    client, address = entry
    client.post(address, typed() | READINGS)
    before = {test.key: test.observed_at for test in saved(address).firingtests.all()}
    client.post(address, typed(revision="1") | READINGS | {"b1-as_found-low-co2_pct": "8.60"})
    after = {test.key: test for test in saved(address).firingtests.all()}
    assert after["b1-as_found-low"].co2_pct == 8.6
    assert after["b1-as_found-high"].observed_at == before["b1-as_found-high"]
    assert saved(address).revision == 2


def test_a_row_that_was_emptied_is_withdrawn_and_never_deleted(entry) -> None:
    client, address = entry
    client.post(address, typed() | READINGS)
    client.post(address, typed(revision="1") | READINGS | {"b1-as_found-low-co2_pct": ""})
    row = FiringTest.objects.get(visit=saved(address), key="b1-as_found-low")
    assert row.withdrawn_reason != ""


def test_a_value_that_is_no_number_is_named_and_the_rest_is_kept(entry) -> None:
    client, address = entry
    answer = client.post(
        address, typed() | READINGS | {"b1-as_found-low-co2_pct": "8,x", "end-notes": "cold"}
    )
    assert answer.status_code == 422
    assert 'href="#id_b1-as_found-low-co2_pct"' in answer.text
    for text in ("8,x", "9.40", "cold"):
        assert text in answer.text
    assert not Visit.objects.filter(uuid=address.split("/")[2]).exists()


def test_what_somebody_else_saved_meanwhile_is_said_and_not_written_over(fleet, entry, page_of) -> None:
    client, address = entry
    client.post(address, typed() | READINGS)
    client.post(address, typed(revision="1") | READINGS | {"end-notes": "first"})
    answer = client.post(address, typed(revision="1") | READINGS | {"end-notes": "second"})
    assert answer.status_code == 422
    assert "changed elsewhere" in answer.text
    assert "second" in answer.text
    assert saved(address).notes == "first"


def test_a_grave_reading_is_answered_first_with_what_to_do(entry) -> None:
    client, address = entry
    answer = client.post(address, typed() | READINGS | {"b1-as_found-high-co_ppm": "2500"}, follow=True)
    assert answer.text.index("Make safe. Leave it off.") < answer.text.index("<h1>")


def test_co_in_the_room_is_judged_even_where_nothing_else_was_read(entry) -> None:
    client, address = entry
    client.post(address, typed() | {"room_co_before-number": "150"})
    codes = set(saved(address).findings.values_list("code", flat=True))
    assert codes & {"ambient_co_make_safe", "ambient_co_investigate"}


def test_closing_leads_to_the_judged_record_which_is_no_longer_a_form(entry) -> None:
    client, address = entry
    answer = client.post(address, typed() | READINGS | {"end-outcome": "completed"})
    uuid_text = address.split("/")[2]
    assert answer.headers["Location"] == reverse("web:visit", args=[uuid_text])
    assert saved(address).is_closed
    again = client.get(address)
    assert again.status_code == 302


def test_a_us_technician_types_fahrenheit_and_it_is_stored_in_si(fleet, entry) -> None:
    client, address = entry
    fleet.technician.units = "us"
    fleet.technician.save()
    assert 'now/?units=us"' in client.get(address).text
    client.post(address, typed() | READINGS | {"b1-as_found-high-flue_temp_c": "140"})
    assert saved(address).firingtests.get(point="high").flue_temp_c == pytest.approx(60.0)


def test_a_setting_not_put_back_is_kept_with_its_reason(entry) -> None:
    client, address = entry
    change = {"change-1-what": "lag boiler", "change-1-set_to": "held off", "change-1-reason": "valve stuck"}
    client.post(address, typed() | READINGS | change)
    row = saved(address).temporarychanges.get()
    assert (row.what, row.put_back_at, row.reason) == ("lag boiler", None, "valve stuck")
    client.post(address, typed(revision="1") | READINGS | change | {"change-1-put_back": "on"})
    assert saved(address).temporarychanges.get().put_back_at is not None


def test_a_step_not_done_needs_its_reason(entry) -> None:
    client, address = entry
    answer = client.post(address, typed() | READINGS | {"tightness_tested-state": "not_done"})
    assert answer.status_code == 422
    assert "Say why it was not done." in answer.text


def test_another_technician_may_not_write_and_the_office_may(fleet, entry, page_of) -> None:
    client, address = entry
    client.post(address, typed() | READINGS)
    assert page_of(person("other", "technician")).get(address).status_code == 403
    assert page_of(fleet.office).get(address).status_code == 200


def test_what_to_bring_names_tools_and_nothing_for_a_sealed_trim(fleet, page_of) -> None:
    plant = fleet.appliance.plant
    make.AttendanceFactory(plant=plant, technician=fleet.technician, local_on=timezone.localdate())
    offset = fleet.appliance.model.trims.filter(kind="offset")
    client = page_of(fleet.technician)
    for changed, tools in (
        ({"tool": "None"}, ["3 mm hex"]),
        ({"tool": "seal pliers", "mover": "sealed"}, ["3 mm hex"]),
        ({"mover": "maker_trained"}, ["3 mm hex", "seal pliers"]),
    ):
        offset.update(**changed)
        assert client.get(reverse("web:my-day")).context["tools"] == tools
