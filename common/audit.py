"""Leave a line in the audit trail."""

from typing import Any

from django.db import models

from common.models import AuditLine


def audit(*, by: Any, verb: str, subject: models.Model, **detail: Any) -> None:
    """Note that `by` (a user, or None for the system) did `verb` to `subject`."""
    AuditLine.objects.create(
        actor_id=getattr(by, "pk", None),
        actor_name=str(by) if by is not None else "system",
        verb=verb,
        subject_type=subject._meta.label_lower,
        subject_id=subject.pk,
        detail=detail,
    )
