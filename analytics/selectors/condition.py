"""The fleet's condition month by month, as found."""

from collections.abc import Sequence
from datetime import date

from analytics.models import FleetMonth
from people.models import User


def fleet_condition(*, user: User, since: date | None = None) -> Sequence[FleetMonth]:
    """Months of the current run, oldest first. One query."""
    rows = FleetMonth.objects.visible_to(user).current().order_by("month")
    return list(rows if since is None else rows.filter(month__gte=since))
