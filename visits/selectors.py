"""Reads on the record."""

from typing import Any

from common.canonical import unpacked
from visits.models import Visit, VisitRecord
from visits.saving.document import flattened
from visits.saving.stored import visit_answer

__all__ = ["visit_answer", "visit_revisions"]


def visit_revisions(visit: Visit) -> list[dict[str, Any]]:
    """Every kept revision of a visit: who, when, why, and the body it held. Newest first."""
    records = VisitRecord.objects.filter(visit=visit).select_related("by", "corrects").order_by("-revision")
    return [
        {
            "revision": row.revision,
            "current": row.current,
            "corrects": row.corrects.revision if row.corrects else None,
            "by": str(row.by),
            "at": row.at.isoformat(),
            "reason": row.reason,
            "body": flattened(unpacked(row.document)),
        }
        for row in records
    ]
