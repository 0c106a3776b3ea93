"""A drifting burner streamed in the browser's form, from arrival to close."""

import re
from uuid import uuid4

from playwright.sync_api import Locator, Page, expect

from fleet.models import Analyser, ItemSet, ServiceItem
from fleet.reference import GAS_ANNUAL, item_sets_ship
from tests.browser.test_walk import Walk, faults
from tests.drifted_burner import drifted_burner_known
from tests.web.small_fleet import SmallFleet
from tests.web.test_streams import log
from visits.models import Visit


def section(page: Page, key: str) -> Locator:
    """The firing test whose log is about to be given, its log unfolded."""
    test = page.locator("[data-firing]", has=page.locator(f"[id='read-{key}']"))
    if not test.locator("textarea").is_visible():
        test.get_by_text("Paste the analyser's log").click()
    return test


def paste(page: Page, key: str, text: str) -> Locator:
    test = section(page, key)
    test.locator("textarea").fill(text)
    return test


def save(page: Page) -> None:
    page.get_by_role("button", name="Save and judge").last.click()
    page.wait_for_load_state()
    expect(page.locator(".messages")).to_be_visible()


def test_a_drifting_burner_is_played_from_arrival_to_close(
    fleet: SmallFleet, walk: Walk, complaints: list[str]
) -> None:
    drifted_burner_known(fleet.appliance, tag="B1")
    item_sets_ship(GAS_ANNUAL, ItemSet, ServiceItem)
    Analyser.objects.update(settle_s=20)
    number = uuid4()
    page = walk(fleet.technician, width=360)
    page.goto(f"/visits/{number}/enter/?appliance={fleet.appliance.pk}")
    page.locator("#id_head-analyser").select_option(label="P4-07")
    page.locator("#id_change-1-what").fill("Sequencer")
    page.locator("#id_change-1-was").fill("automatic")
    page.locator("#id_change-1-set_to").fill("manual")

    test = paste(page, "b1-as_found-high", log("high", seconds=110))
    test.get_by_role("button", name="Play it").click()
    live = test.locator("[data-live-said]")
    expect(live).to_contain_text("not settled")
    expect(live).to_contain_text("s to go")
    expect(live.get_by_role("button", name="Show the judgement")).to_be_visible()
    expect(live).to_contain_text("CO2 9.7")
    expect(live).to_contain_text("target 8.80 – 9.20, outside")
    assert faults(page) == []
    told = re.search(r"CO2 \S+ ± \S+ %", live.inner_text()).group()
    live.get_by_role("button", name="Show the judgement").click()
    expect(page.locator("[id='read-b1-as_found-high']")).to_contain_text(told)
    expect(page.locator("[data-now-do]")).to_contain_text("Read this point as found")

    test = paste(page, "b1-as_found-low", log("low"))
    test.get_by_role("button", name="Look first").click()
    expect(page.get_by_role("heading", name="How it would be judged")).to_be_visible()
    expect(page.locator("[id='read-b1-as_found-low']")).to_contain_text("Not saved yet: settled CO2 9.2")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert faults(page) == []
    save(page)

    for move, turns in (("move-1", -0.25), ("move-2", -0.5)):
        expect(page.locator(".advice")).to_contain_text("Throttle: anticlockwise, about 0.25 turn")
        page.locator(f"#id_{move}-trim").select_option("throttle")
        page.locator(f"#id_{move}-direction").select_option("anticlockwise")
        page.locator(f"#id_{move}-amount").fill("0.25")
        paste(page, f"after-{move}", log("high", turns))
        save(page)
    expect(page.locator("[data-now-do]")).to_contain_text("Read this point as left")

    for row, point in (("high", "high"), ("low", "low"), ("again", "high")):
        paste(page, f"b1-as_left-{row}", log(point, -0.5))
    page.locator("#id_change-1-put_back").check()
    page.locator("#id_end-outcome").select_option("completed")
    save(page)
    expect(page.locator(".messages")).to_contain_text("Closed and judged.")
    visit = Visit.objects.get(uuid=number)
    assert visit.health_as_found < 0.5 < visit.health_as_left
    assert set(visit.firingtests.values_list("settled", flat=True)) == {"streamed"}
    assert complaints == []
