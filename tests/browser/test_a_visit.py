"""A visit of a drifted burner on a narrow screen, from arrival to close: read, advised, moved, put back."""

from uuid import uuid4

from django.utils import timezone
from playwright.sync_api import Page, expect

from fleet.models import Analyser, ItemSet, ModelTrim, ServiceItem, TurnSensitivity
from fleet.reference import GAS_ANNUAL, item_sets_ship
from tests.browser.test_walk import Walk, faults
from tests.web.small_fleet import SmallFleet
from visits.models import Visit

SETTLE_S = 2


def learnt(fleet: SmallFleet) -> None:
    """What a turn of the model's throttle does; the list of the visit, which an emptied database lacks."""
    trim = ModelTrim.objects.get(model=fleet.appliance.model, kind="throttle")
    trim.max_step_turns = 1.0
    trim.save()
    TurnSensitivity.objects.create(
        trim=trim,
        effect=-0.12,
        effect_low=-0.128,
        effect_high=-0.112,
        effect_u=0.004,
        spread=0.01,
        scatter=0.004,
        moves=40,
        burners=20,
        set_aside=0,
        learnt_at=timezone.now(),
    )
    Analyser.objects.update(settle_s=SETTLE_S)
    item_sets_ship(GAS_ANNUAL, ItemSet, ServiceItem)


def read(page: Page, row: str, co2: str) -> None:
    """Type one firing test and say that it was settled."""
    page.locator(f"#id_{row}-co2_pct").fill(co2)
    page.locator(f"#id_{row}-co_ppm").fill("30")
    page.locator(f"#id_{row}-settled").check()


def save(page: Page) -> None:
    page.get_by_role("button", name="Save and judge").click()
    page.wait_for_load_state()


def test_a_drifted_burner_is_led_to_its_close_at_360_px(
    fleet: SmallFleet, walk: Walk, complaints: list[str]
) -> None:
    learnt(fleet)
    number = uuid4()
    page = walk(fleet.technician, width=360)
    page.goto(f"/visits/{number}/enter/?appliance={fleet.appliance.pk}")
    page.locator("#id_head-analyser").select_option(label="P4-07")
    page.get_by_text("On arrival", exact=False).first.click()
    alarm = page.get_by_role("group", name="Personal CO alarm on and tested")
    alarm.get_by_label("done", exact=True).check()
    page.locator("#id_change-1-what").fill("Sequencer")
    page.locator("#id_change-1-was").fill("automatic")
    page.locator("#id_change-1-set_to").fill("manual")
    read(page, "b1-as_found-high", "10.2")
    read(page, "b1-as_found-low", "9.6")
    save(page)

    advice = page.locator(".advice")
    expect(advice).to_contain_text("Throttle: clockwise, about")
    expect(advice).to_contain_text("3 mm hex")
    expect(page.locator(".grid")).to_contain_text("outside")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert faults(page) == []

    page.locator("#id_move-1-trim").select_option("throttle")
    page.locator("#id_move-1-direction").select_option("clockwise")
    page.locator("#id_move-1-amount").fill("1")
    page.get_by_role("button", name="Moved now: start the timer").click()
    expect(page.locator(".timer")).to_contain_text("since the throttle was moved. Wait")
    save(page)
    expect(page.locator("[data-now-do]")).to_contain_text("Read this point as left")
    expect(page.locator(".timer")).to_contain_text(f"The analyser has had its {SETTLE_S} s.")

    for row, co2 in (("b1-as_left-high", "9.0"), ("b1-as_left-low", "8.5"), ("b1-as_left-again", "9.0")):
        read(page, row, co2)
    page.locator("#id_end-outcome").select_option("completed")
    save(page)
    expect(page.locator(".refusal")).to_contain_text("Not put back: put it back, or say why")
    page.locator("#id_change-1-put_back").check()
    save(page)
    expect(page.locator(".messages")).to_contain_text("Closed and judged.")
    visit = Visit.objects.get(uuid=number)
    assert visit.outcome == "completed"
    assert visit.health_as_left > 0.9 > 0.1 > visit.health_as_found
    assert not visit.findings.filter(code__in=["moved_after_as_left", "not_put_back", "not_settled"]).exists()
    assert [text for text in complaints if "422" not in text] == []
