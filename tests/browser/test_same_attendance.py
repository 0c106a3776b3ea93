"""README's attendance of two boilers, typed into the browser's form: the same record, the same paper."""

import shutil
from typing import Any
from uuid import uuid4

import pytest
from playwright.sync_api import Page, expect

from people.services import device_token_issue
from tests.browser.test_walk import Walk
from tests.clients import front_page
from tests.visits.conftest import set_up_scene
from tests.visits.test_batch import comparable
from tests.web.small_fleet import PASSWORD
from visits.models import Attendance, Visit

READ = {
    "high": {"o2_pct": "4.7", "co_ppm": "28", "flue_temp_c": "61", "inlet_pressure_mbar": "20.6"},
    "low": {"o2_pct": "5.3", "co_ppm": "9", "flue_temp_c": "47", "inlet_pressure_mbar": "20.9"},
}
CLOCK = {"at", "window", "opened_at", "closed_at", "changed_at", "put_back_at", "received_at", "local_on"}
OWN = {"uuid", "attendance", "key", "sequence", "revision", "save_no", "site", "plant"}
"""What two attendances never share: names of their own, and how often each was saved on the way."""


def opened(page: Page) -> None:
    """Unfold every part of the form."""
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")


def enter(page: Page, boiler: Any, analyser: str) -> None:
    """One visit of README's attendance, typed and closed."""
    page.goto(f"/visits/{uuid4()}/enter/?appliance={boiler.pk}")
    opened(page)
    page.locator("#id_head-analyser").select_option(label=analyser)
    page.locator("#id_change-1-what").fill("heating set point")
    page.locator("#id_change-1-was").fill("70 °C")
    page.locator("#id_change-1-set_to").fill("85 °C")
    for point, values in READ.items():
        for name, value in (values | {"air_temp_c": "17"}).items():
            page.locator(f"#id_b1-as_found-{point}-{name}").fill(value)
        page.locator(f"#id_b1-as_found-{point}-settled").check()
    page.get_by_role("button", name="Save and judge").click()
    page.wait_for_load_state()
    opened(page)
    page.locator("#id_change-1-put_back").check()
    page.locator("#id_end-outcome").select_option("completed")
    page.get_by_role("button", name="Save and judge").click()
    expect(page.locator(".messages")).to_contain_text("Closed and judged.")


@pytest.mark.skipif(
    not all(map(shutil.which, front_page.NEEDS)),
    reason="SKIPPED ALOUD: README needs curl, python3",
)
def test_the_browser_ends_in_the_record_and_the_paper_that_a_device_ends_in(
    transactional_db: None, walk: Walk, live_server: Any, api_of: Any, tmp_path: Any
) -> None:
    scene = set_up_scene(api_of)
    scene.technician.set_password(PASSWORD)
    scene.technician.save()
    _, token = device_token_issue(user=scene.technician, name="front page")
    sent_at, _ = front_page.plant_of_two(scene)
    front_page.attendance_send(url=live_server.url, token=token, analyser=scene.analyser.tag, folder=tmp_path)
    typed_at, boilers = front_page.plant_of_two(scene)
    page = walk(scene.technician)
    for boiler in boilers:
        enter(page, boiler, scene.analyser.tag)
    sent, typed = (records(scene.api, plant, scene.analyser) for plant in (sent_at, typed_at))
    assert typed == sent
    assert [len(record["results"]) for record in sent] == [2, 2]
    assert [record["not_put_back"] for record in sent] == [[], []]
    on_paper, typed_paper = (paper(scene.api, plant) for plant in (sent_at, typed_at))
    assert typed_paper == on_paper
    assert [visit["appliance"]["tag"] for visit in on_paper["visits"]] == list(front_page.TAGS)


def records(api: Any, plant: Any, analyser: Any) -> list[Any]:
    """The record of each boiler as it is told over REST, in words that both ways share."""
    told = []
    for visit in Visit.objects.filter(attendance__plant=plant).order_by("appliance__tag"):
        answer = api.get(f"/api/v1/visits/{visit.uuid}/").json()
        assert answer.pop("appliance") == str(visit.appliance.uuid)
        # a device may call the analyser by its tag, and leave out the burner where there is but one
        assert answer.pop("analyser") in (analyser.tag, str(analyser.uuid))
        assert visit.analyser == analyser
        assert [test.setdefault("burner", 1) for test in answer["tests"]] == [1, 1]
        results = [answer["results"][test["key"]] for test in answer["tests"]]
        told.append(shared({**answer, "results": results}))
    return told


def paper(api: Any, plant: Any) -> Any:
    """What the service record of the plant's one attendance says, which is issued."""
    attendance = Attendance.objects.get(plant=plant)
    record = api.get(f"/api/v1/attendances/{attendance.uuid}/record/").json()
    assert record["issued"]["revision"] == 1
    return shared(record["content"])


def shared(value: Any) -> Any:
    """A value without what is one attendance's own; of the clock no more than that there is a time."""
    if isinstance(value, dict):
        told = {name: item for name, item in value.items() if name not in OWN}
        return {name: bool(item) if name in CLOCK else shared(item) for name, item in told.items()}
    return [shared(item) for item in value] if isinstance(value, list) else comparable(value)
