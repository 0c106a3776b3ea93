"""An attendance of two boilers in a small fleet, closed long ago, with everything a record says."""

from datetime import UTC, datetime

import pytest

from fleet.models import PartFitted
from tests.web.conftest import fleet, page_of  # noqa: F401  (the fleet of the pages' tests)
from visits.models import VisitItem


@pytest.fixture
def visit(fleet):  # noqa: F811
    """The last completed visit of the fleet's first plant, with a part and a check noted."""
    seen = fleet.appliance.visits.order_by("-opened_at").first()
    VisitItem.objects.create(visit=seen, key="i1", code="trap_looked_at", state="done")
    VisitItem.objects.create(visit=seen, key="i2", code="room_co_before", state="done", number=2.5)
    PartFitted.objects.create(
        burner=seen.appliance.burners.first(),
        part="electrode",
        fitted_at=datetime(2026, 1, 2, tzinfo=UTC),
        visit_uuid=seen.uuid,
    )
    return seen


@pytest.fixture
def attendance(visit):
    return visit.attendance
