"""Who may do what, by role."""

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from people.models import Role

STAFF_ROLES = frozenset({Role.OFFICE, Role.MANAGER, Role.ADMINISTRATOR, Role.TECHNICIAN})
OFFICE_ROLES = frozenset({Role.OFFICE, Role.MANAGER, Role.ADMINISTRATOR})


def role_of(user: Any) -> str | None:
    """The role that counts: a superuser is an administrator, nobody signed in has none."""
    if not getattr(user, "is_authenticated", False) or not user.is_active:
        return None
    return Role.ADMINISTRATOR if user.is_superuser else user.role


def works_here(user: Any) -> bool:
    """Anyone of the firm: office, manager, administrator, technician."""
    return role_of(user) in STAFF_ROLES


def sees_everything(user: Any) -> bool:
    """Office, manager, administrator."""
    return role_of(user) in OFFICE_ROLES


def is_contact(user: Any) -> bool:
    """A customer's contact."""
    return role_of(user) == Role.CONTACT


class DenyByDefault(BasePermission):
    """The default of every API view: one that names no permission of its own lets nobody in."""

    def has_permission(self, request: Request, view: Any) -> bool:
        return False


class SignedIn(BasePermission):
    """Any person with a role."""

    def has_permission(self, request: Request, view: Any) -> bool:
        return role_of(request.user) is not None


class WorksHere(BasePermission):
    """Anyone of the firm."""

    def has_permission(self, request: Request, view: Any) -> bool:
        return works_here(request.user)


class OfficeOnly(BasePermission):
    """Office, manager, administrator."""

    def has_permission(self, request: Request, view: Any) -> bool:
        return sees_everything(request.user)
