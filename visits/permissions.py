"""Who may write what in the record. Reading is `visible_to` on the querysets."""

from typing import Any

from people.models import Role
from people.permissions import role_of, sees_everything, works_here
from visits.models import Attendance, Life, Visit


def can_open_visit(user: Any, attendance: Attendance | None) -> bool:
    """Anyone of the firm opens visits; a technician only on their own attendance, or on none yet."""
    if sees_everything(user):
        return True
    return works_here(user) and (attendance is None or attendance.technician_id in (None, user.pk))


def can_write_visit(user: Any, visit: Visit) -> bool:
    """The office any visit; a technician those opened with their own token or on their own attendance."""
    if sees_everything(user):
        return True
    return role_of(user) == Role.TECHNICIAN and user.pk in (
        visit.technician_id,
        visit.attendance.technician_id,
    )


def can_countersign(user: Any) -> bool:
    """Anyone of the firm may try; whether their licence covers the visit is asked of the licence."""
    return works_here(user)


def can_move_finding(user: Any, to: str) -> bool:
    """The office takes any step; a technician says what is done, and nothing that binds the customer."""
    return sees_everything(user) or (works_here(user) and to == Life.DONE)
