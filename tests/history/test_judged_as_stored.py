"""What an import stores of its judgement is what judging the stored visits gives, to the last bit.

To the last bit only where the same visits are judged together in the same order: a product of matrices rounds
by where a row stands.
"""

from typing import Any

import pytest

from tests.history.conftest import Importer
from tests.history.odd import furnish, odd_visits
from visits.judging import judge_visits
from visits.models import Adjustment, Finding, FiringTest, TestResult, Visit

pytestmark = pytest.mark.django_db


def _everything() -> dict[str, list[dict[str, Any]]]:
    tables = (Visit, FiringTest, Adjustment, TestResult, Finding)
    return {table.__name__: list(table._default_manager.order_by("pk").values()) for table in tables}


def test_judging_an_import_again_changes_nothing(bring_in: Importer) -> None:
    bring_in(odd_visits(60))
    before = list(Visit.objects.values_list("pk", flat=True))
    furnish()
    outcome = bring_in(odd_visits(300))
    assert (outcome.visits_already, outcome.visits_stored) == (60, 240)
    judge_visits(before)
    stored = _everything()
    assert len(stored["TestResult"]) == len(stored["FiringTest"])
    judge_visits(list(Visit.objects.exclude(pk__in=before).order_by("pk").values_list("pk", flat=True)))
    assert _everything() == stored
    codes = {row["code"] for row in stored["Finding"]}
    assert len(codes) > 20, "odd enough to tell"
    assert FiringTest.objects.filter(inferred=True).exists()
    assert FiringTest.objects.exclude(kept_out="").exists()
    assert Visit.objects.filter(health_as_left_full=True).exists()
