"""The demo fleet, made once for all the tests that look at it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction

from web.demo.story import DemoPlan, plan_demo
from web.demo.truth import DemoTruth

SEED = 1
TODAY = date(2026, 11, 24)


@dataclass(frozen=True)
class MadeDemo:
    """What `make_demo` said, and what it planted."""

    truth: DemoTruth
    said: str
    truth_file: Path


@pytest.fixture(scope="session")
def demo_plan() -> DemoPlan:
    """The demo, lived but not written."""
    return plan_demo(seed=SEED, today=TODAY)


@pytest.fixture(scope="package")
def demo(
    django_db_setup: None,
    django_db_blocker: Any,
    tmp_path_factory: pytest.TempPathFactory,
    demo_plan: DemoPlan,
) -> Iterator[MadeDemo]:
    """The demo in the database, taken out again after the last of these tests."""
    said, truth_file = StringIO(), tmp_path_factory.mktemp("demo") / "truth.json"
    with django_db_blocker.unblock(), transaction.atomic():
        call_command(
            "make_demo", seed=SEED, today=TODAY, password="demo-password-1", truth=truth_file, stdout=said
        )
        yield MadeDemo(demo_plan.truth, said.getvalue(), truth_file)
        transaction.set_rollback(True)
