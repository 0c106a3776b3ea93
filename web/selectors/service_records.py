"""What whoever looks a service record up sees of it: enough to compare with the paper in the hand."""

from dataclasses import dataclass
from typing import Any

from visits.service_record.readings import co2_lines


@dataclass(frozen=True)
class CheckedVisit:
    """One appliance of a record: what was done, and CO2 as found and as left at each firing point."""

    tag: str
    text: str
    lines: list[tuple[str, str, str]]


def checked_summary(content: dict[str, Any]) -> list[CheckedVisit]:
    """Each visit of a record's content in a few lines. No query."""
    return [
        CheckedVisit(
            tag=f"{visit['appliance']['tag']}, {visit['appliance']['model']}",
            text=f"{visit['kind'].capitalize()}, {visit['outcome_text']}",
            lines=co2_lines(visit),
        )
        for visit in content["visits"]
    ]
