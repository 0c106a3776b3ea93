"""The admin: reference data for administrators, the record to look at. Nobody else comes in."""

from typing import Any

from django.contrib.admin import AdminSite, ModelAdmin
from django.core.paginator import Paginator
from django.http import HttpRequest
from django.utils.functional import cached_property

from people.models import Role
from people.permissions import role_of

COUNTED_UP_TO = 1000


class HouseAdminSite(AdminSite):
    """Opens to administrators by their role, whatever the flags of the account say."""

    site_header = "Flueledger: reference data"
    site_title = "Flueledger"

    def has_permission(self, request: HttpRequest) -> bool:
        """Administrators only."""
        return role_of(request.user) == Role.ADMINISTRATOR


class CappedPaginator(Paginator):  # type: ignore[type-arg]
    """Pages over the first thousand rows: no long table is counted to its end."""

    @cached_property
    def count(self) -> int:
        """How many rows, up to the cap."""
        rows: Any = self.object_list
        return int(rows[: COUNTED_UP_TO + 1].count())


class ReferenceAdmin(ModelAdmin):  # type: ignore[type-arg]
    """Reference data: whoever is let into the admin may change it, and deletion is left to constraints."""

    def has_module_permission(self, request: HttpRequest) -> bool:
        return True

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return True

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return True

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return True

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return True


class RecordAdmin(ModelAdmin):  # type: ignore[type-arg]
    """A record to look at: nothing is added, changed or deleted here."""

    paginator = CappedPaginator
    show_full_result_count = False
    list_per_page = 50

    def has_module_permission(self, request: HttpRequest) -> bool:
        return True

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return True

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
