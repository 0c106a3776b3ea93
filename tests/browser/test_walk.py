"""Each page in a real browser: reachable, clean by axe in both themes at both widths, nothing refused."""

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.web.small_fleet import SmallFleet

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
WIDTHS = (1280, 360)
REFLOW_PX = 320
Walk = Callable[..., Page]


def addresses(fleet: SmallFleet) -> dict[str, list[str]]:
    """What each role reads in a day."""
    appliance, other = f"/appliances/{fleet.appliance.pk}/", f"/appliances/{fleet.other_appliance.pk}/"
    visit, grave = f"/visits/{fleet.visit.uuid}/", f"/visits/{fleet.grave_visit.uuid}/"
    places = ["/customers/", f"/customers/{fleet.site.customer_id}/", f"/sites/{fleet.site.pk}/"]
    plant = f"/plants/{fleet.appliance.plant_id}/"
    return {
        "office": [
            "/due/",
            "/due/?part=weeks",
            "/find/?q=school",
            *places,
            plant,
            appliance,
            other,
            visit,
            grave,
        ],
        "technician": ["/account/", appliance, grave],
        "manager": ["/due/", "/docs/"],
        "contact": ["/account/", appliance, visit, "/due/"],
    }


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("role", ["office", "technician", "manager", "contact"])
def test_every_page_of_a_role_is_clean(
    fleet: SmallFleet, walk: Walk, complaints: list[str], role: str, theme: str
) -> None:
    page = walk(getattr(fleet, role), theme=theme)
    found = []
    for address in addresses(fleet)[role]:
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 800})
            page.goto(address)
            found += [f"{address} at {width}: {text}" for text in faults(page)]
    refused_by_role = [text for text in complaints if "403" in text]
    assert found == []
    assert [text for text in complaints if text not in refused_by_role] == []


def faults(page: Page) -> list[str]:
    """What axe finds against a page."""
    answer = Axe().run(page, options=RULES)
    return [
        f"{rule['id']}: {node['html'][:120]}"
        for rule in answer.response["violations"]
        for node in rule["nodes"]
    ]


@pytest.mark.parametrize("address", ["/sign-in/", "/password/", "/nothing-here/"])
def test_pages_before_signing_in_are_clean(fleet: SmallFleet, walk: Walk, address: str) -> None:
    page = walk(fleet.office)
    page.context.clear_cookies()
    page.goto(address)
    assert faults(page) == []


def test_no_page_scrolls_sideways_at_320_px(fleet: SmallFleet, walk: Walk) -> None:
    page = walk(fleet.office, width=REFLOW_PX)
    wide = {}
    for address in addresses(fleet)["office"]:
        page.goto(address)
        wide[address] = page.evaluate("document.documentElement.scrollWidth")
    assert {address: width for address, width in wide.items() if width > REFLOW_PX} == {}


def test_the_figure_is_drawn_from_its_block_under_the_strict_policy(
    fleet: SmallFleet, walk: Walk, complaints: list[str]
) -> None:
    page = walk(fleet.office)
    page.goto(f"/appliances/{fleet.appliance.pk}/")
    page.locator(".chart .main-svg").first.wait_for()
    assert page.locator(".chart .scatterlayer .point").count() >= 12
    assert page.get_by_text("acceptance, upper 9.50").count() == 1
    assert complaints == []


def test_the_numbers_of_the_figure_can_be_read_without_javascript(fleet: SmallFleet, walk: Walk) -> None:
    page = walk(fleet.office, javascript=False)
    page.goto(f"/appliances/{fleet.appliance.pk}/")
    page.get_by_text("The same numbers as a table").click()
    assert page.get_by_role("table").first.get_by_text("9.55").first.is_visible()


def test_the_keyboard_reaches_the_content_at_once(fleet: SmallFleet, walk: Walk) -> None:
    page = walk(fleet.office)
    page.goto("/due/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"


def test_only_pages_with_a_chart_load_the_chart_script(fleet: SmallFleet, walk: Walk) -> None:
    page = walk(fleet.office)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto("/due/")
    assert not any("plotly" in address for address in asked)
    page.goto(f"/appliances/{fleet.appliance.pk}/")
    assert any("plotly" in address for address in asked)
    assert {address.split("/")[2] for address in asked} == {page.url.split("/")[2]}
