"""A Chromium without a screen. Where there is none, the tests are skipped aloud."""

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, sync_playwright

from people.models import User
from tests.web.small_fleet import PASSWORD, SmallFleet, small_fleet

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
PATIENCE_MS = 60_000


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark every test here, and skip it where there is no browser to drive."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if CHROMIUM is None:
                item.add_marker(pytest.mark.skip(reason="NO BROWSER: no chromium on this machine's path"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser for all tests; the driver's event loop makes Django ask for leave to query."""
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def fleet(transactional_db: None) -> SmallFleet:
    """The small fleet, committed, since the server reads it from another thread."""
    return small_fleet(timezone.localdate())


@pytest.fixture
def complaints() -> list[str]:
    """What the browser's console said against a page: refused scripts and styles, errors."""
    return []


@pytest.fixture
def walk(chromium: Browser, live_server: object, complaints: list[str]) -> Iterator[Callable[..., Page]]:
    """A fresh window in which a person has signed in through the form."""
    opened = []

    def start(user: User, *, width: int = 1280, theme: str = "light", javascript: bool = True) -> Page:
        context = chromium.new_context(
            base_url=live_server.url,
            color_scheme=theme,
            viewport={"width": width, "height": 800},
            java_script_enabled=javascript,
        )
        context.set_default_timeout(PATIENCE_MS)
        opened.append(context)
        page = context.new_page()
        page.on("console", lambda message: _note(message, complaints))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto("/sign-in/")
        page.get_by_label("Username").fill(user.username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("main").get_by_role("button", name="Sign in").click()
        page.locator("form[action='/sign-out/']").first.wait_for(state="attached")
        return page

    yield start
    for context in opened:
        context.close()


def _note(message: object, complaints: list[str]) -> None:
    if message.type == "error":
        complaints.append(message.text)
