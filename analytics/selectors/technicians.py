"""How closely readings repeat, person by person."""

from analytics.models import TechnicianRepeat
from people.models import Role, User
from people.permissions import role_of


def technicians_repeat(*, user: User) -> list[TechnicianRepeat]:
    """Everyone's line for the manager, a technician's own, nobody's for anyone else. One query."""
    rows = TechnicianRepeat.objects.visible_to(user).current().select_related("technician")
    role = role_of(user)
    if role == Role.TECHNICIAN:
        rows = rows.filter(technician=user)
    elif role not in (Role.MANAGER, Role.ADMINISTRATOR):
        return []
    return list(rows.order_by("technician__last_name", "technician__first_name", "pk"))
