"""What every test may use, and what is said aloud where a machine cannot run one."""

import os
import shutil
from collections.abc import Callable

import hypothesis
import pytest
from django.conf import settings
from django.test import SimpleTestCase
from rest_framework.test import APIClient

from people.models import User
from people.services import device_token_issue

# A machine may be slow: no test here is about time.
hypothesis.settings.register_profile(
    "unhurried", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow]
)
hypothesis.settings.load_profile("unhurried")

NEEDS = {
    "postgres": "PostgreSQL: set DATABASE_URL to a server that may create databases",
    "redis": "Redis: set REDIS_URL",
    "browser": "a Chromium on the path",
}


def _has(marker: str) -> bool:
    if marker == "postgres":
        return settings.DATABASES["default"]["ENGINE"].endswith("postgresql")
    if marker == "redis":
        return settings.REDIS_URL is not None
    return any(shutil.which(name) for name in ("chromium", "chromium-browser", "google-chrome"))


def _asks_for_a_database(item: pytest.Item) -> bool:
    asked = {"db", "transactional_db", "django_db_setup"}.intersection(getattr(item, "fixturenames", ()))
    case = getattr(item, "cls", None)
    of_django = isinstance(case, type) and issubclass(case, SimpleTestCase)
    return bool(asked) or of_django or item.get_closest_marker("django_db") is not None


@pytest.hookimpl(tryfirst=True)  # marks must stand before -m is looked at
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Skip what this machine cannot run, and say so. MUST_RUN names markers that may not be skipped."""
    for item in items:
        if not _asks_for_a_database(item) and not any(item.get_closest_marker(name) for name in NEEDS):
            item.add_marker("any_database")
    must_run = os.environ.get("MUST_RUN", "").split()
    for marker, needed in NEEDS.items():
        marked = [item for item in items if item.get_closest_marker(marker)]
        if not marked or _has(marker):
            continue
        if marker in must_run:
            raise pytest.UsageError(f"{len(marked)} tests must run here and need {needed}.")
        for item in marked:
            item.add_marker(pytest.mark.skip(reason=f"SKIPPED ALOUD: needs {needed}"))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say at the end what was not run, where nobody can miss it."""
    skipped = terminalreporter.stats.get("skipped", [])
    if skipped:
        reasons = sorted(
            {str(report.longrepr[2]) for report in skipped if isinstance(report.longrepr, tuple)}
        )
        terminalreporter.write_sep("!", f"{len(skipped)} TESTS WERE NOT RUN", red=True, bold=True)
        for reason in reasons:
            terminalreporter.write_line(reason, red=True)


@pytest.fixture
def api_of() -> Callable[[User], APIClient]:
    """A client that signs in with a fresh device token of the given person."""

    def client(user: User) -> APIClient:
        _, text = device_token_issue(user=user, name="test device")
        api = APIClient()
        api.credentials(HTTP_AUTHORIZATION=f"Bearer {text}")
        return api

    return client
