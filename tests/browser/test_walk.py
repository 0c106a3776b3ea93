"""Each page in a real browser: reachable, clean by axe in both themes at both widths, nothing refused."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.utils import timezone
from playwright.sync_api import Page

from analytics.alerting import alerts_raise
from fleet.models import AnalyserPeriod, Contract, SafetyEvent
from planning.models import FollowUp
from tests.web.drift_rows import a_run
from tests.web.small_fleet import SmallFleet
from visits.booking import attendance_book
from visits.service_record.codes import code_shown
from visits.service_record.issuing import record_issue

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
CONTRAST = {"runOnly": ["color-contrast", "link-in-text-block"]}
WIDTHS = (1280, 360)
REFLOW_PX = 320
Walk = Callable[..., Page]


def addresses(fleet: SmallFleet) -> dict[str, list[str]]:
    """What each role reads in a day."""
    appliance, other = f"/appliances/{fleet.appliance.pk}/", f"/appliances/{fleet.other_appliance.pk}/"
    visit, grave = f"/visits/{fleet.visit.uuid}/", f"/visits/{fleet.grave_visit.uuid}/"
    record = f"/attendances/{fleet.visit.attendance.uuid}/record/"
    places = ["/customers/", f"/customers/{fleet.site.customer_id}/", f"/sites/{fleet.site.pk}/"]
    plant = f"/plants/{fleet.appliance.plant_id}/"
    lists = ["/today/", "/due/", "/due/?part=weeks", "/bookings/", "/findings/", "/contracts/", "/accounts/"]
    return {
        "office": [
            *lists,
            "/accounts/invite/",
            f"/accounts/{fleet.contact.pk}/sites/",
            f"/attendances/{fleet.grave_visit.attendance.uuid}/record/",
            "/find/?q=school",
            *places,
            plant,
            f"{plant}book/",
            appliance,
            other,
            visit,
            grave,
            *kept(fleet),
        ],
        "technician": ["/my-day/", f"{visit_form(fleet)}", f"{appliance}safety/", "/account/", "/docs/"],
        "manager": ["/condition/", f"/condition/{fleet.visit.local_on:%Y-%m}/", "/docs/", *drift(fleet)],
        "contact": ["/my-sites/", appliance, visit, record, "/docs/", "/due/"],
    }


def drift(fleet: SmallFleet) -> list[str]:
    """What the manager reads of drift, with something on every page."""
    alerts_raise(a_run(fleet, timezone.localdate()), now=timezone.now())
    period, area = AnalyserPeriod.objects.get().pk, fleet.site.gas_area_id
    return [
        "/drift/?show=all",
        f"/drift/models/?model={fleet.appliance.model_id}",
        "/drift/analysers/",
        f"/drift/analysers/{period}/",
        "/drift/gas/",
        "/drift/costs/",
        "/drift/trends/",
        f"/drift/gas/{area}/2024-09/",
        f"/appliances/{fleet.appliance.pk}/drift/",
        "/alerts/",
        "/due/earlier/",
        f"/appliances/{fleet.appliance.pk}/earlier/",
    ]


def kept(fleet: SmallFleet) -> list[str]:
    """What the office keeps: the life of a finding, safety states with a notice, records, lists."""
    pk = fleet.other_appliance.pk
    notice = SafetyEvent.objects.create(
        appliance_id=pk, state="isolated", at=timezone.now(), by=fleet.technician, told="Mr Hale", reason="CO"
    )
    finding = fleet.grave_visit.findings.first()
    return [
        f"/findings/{finding.pk}/",
        f"/appliances/{pk}/safety/",
        f"/safety/{notice.pk}/notice/",
        f"/follow-ups/{FollowUp.objects.get().pk}/",
        f"/records/contract/{Contract.objects.first().pk}/",
        f"/records/appliance/{pk}/",
        "/records/customer/add/0/",
        "/kit/",
        "/crew/",
        "/lists/",
    ]


def visit_form(fleet: SmallFleet) -> str:
    """A fresh form for the first appliance."""
    return f"/visits/{uuid4()}/enter/?appliance={fleet.appliance.pk}"


@pytest.mark.any_database
@pytest.mark.parametrize("role", ["office", "technician", "manager", "contact"])
def test_every_page_of_a_role_is_clean(
    fleet: SmallFleet, walk: Walk, complaints: list[str], role: str
) -> None:
    page = walk(getattr(fleet, role))
    found = []
    for address in addresses(fleet)[role]:
        page.goto(address)
        for theme in ("light", "dark"):
            page.emulate_media(color_scheme=theme)
            for width in WIDTHS:
                page.set_viewport_size({"width": width, "height": 800})
                # what a theme can change is colour alone
                rules = RULES if theme == "light" else CONTRAST
                found += [f"{address}, {theme}, at {width}: {text}" for text in faults(page, rules)]
    refused_by_role = [text for text in complaints if "403" in text]
    assert found == []
    assert [text for text in complaints if text not in refused_by_role] == []


def faults(page: Page, rules: dict[str, list[str]] = RULES) -> list[str]:
    """What axe finds against a page."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    ask = "options => axe.run(document, options).then(answer => answer.violations)"
    violations = page.evaluate(ask, {**rules, "resultTypes": ["violations"]})
    return [f"{rule['id']}: {node['html'][:120]}" for rule in violations for node in rule["nodes"]]


@pytest.mark.parametrize(
    "address", ["/sign-in/", "/password/", "/record/", "/record/0000-0000-0000/", "/nothing-here/"]
)
def test_pages_before_signing_in_are_clean(fleet: SmallFleet, walk: Walk, address: str) -> None:
    page = walk(fleet.office)
    page.context.clear_cookies()
    page.goto(address)
    assert faults(page) == []


def test_whoever_holds_a_record_looks_its_code_up_without_signing_in(fleet: SmallFleet, walk: Walk) -> None:
    issued = record_issue(by=None, attendance=fleet.grave_visit.attendance).record
    page = walk(fleet.office, width=360)
    page.context.clear_cookies()
    page.goto("/record/")
    page.fill("#id_code", issued.code.lower())
    page.click("main button")
    assert page.locator("h1").inner_text() == f"Service record {code_shown(issued.code)}"
    assert page.get_by_text("What is kept under this code is unaltered, and it still stands.").is_visible()
    assert page.get_by_role("heading", name="Keep WH-1 off").is_visible()
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


def test_a_technician_goes_from_the_day_to_a_closed_and_judged_visit(
    fleet: SmallFleet, walk: Walk, complaints: list[str]
) -> None:
    attendance_book(
        by=fleet.office, plant=fleet.appliance.plant, technician=fleet.technician, on=timezone.localdate()
    )
    page = walk(fleet.technician, width=360, javascript=False)
    page.get_by_role("link", name="Open a visit B1").click()
    for point, value in (("high", "9.0"), ("low", "8.5")):
        page.locator(f"#id_b1-as_found-{point}-co2_pct").fill(value)
        page.locator(f"#id_b1-as_found-{point}-settled").check()
    page.get_by_role("button", name="Save and judge").click()
    page.get_by_role("heading", name="Judgement so far").wait_for()
    page.get_by_label("Close the visit as").select_option("completed")
    page.get_by_role("button", name="Save and judge").click()
    page.get_by_text("Closed and judged.").wait_for()
    assert fleet.appliance.visits.filter(outcome="completed", source="browser").count() == 1


def test_the_office_books_from_what_is_overdue_and_sees_the_licence_checked(
    fleet: SmallFleet, walk: Walk, complaints: list[str]
) -> None:
    page = walk(fleet.office)
    page.get_by_role("link", name="Fenwick Road School").first.click()
    page.locator("#id_technician").select_option(label=str(fleet.technician))
    page.locator("#id_on").fill(timezone.localdate().isoformat())
    page.locator("#id_start").focus()
    page.get_by_text("cover every appliance").wait_for()
    page.get_by_role("button", name="Book").click()
    page.get_by_text("Booked: ").wait_for()
    assert complaints == []


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
