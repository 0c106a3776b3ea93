"""Who may open which page. A page that names no roles opens to nobody: a test walks every address."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django_htmx.middleware import HtmxDetails

from people.models import Role, User
from people.permissions import OFFICE_ROLES, STAFF_ROLES, role_of

View = Callable[..., HttpResponseBase]


class PersonRequest(HttpRequest):
    """A request behind `page_for`: the person is known, and the middleware says whether htmx asks."""

    user: User
    htmx: HtmxDetails


OFFICE = OFFICE_ROLES
FIRM = STAFF_ROLES
MANAGERS = frozenset({Role.MANAGER, Role.ADMINISTRATOR})
EVERYONE = frozenset(Role)


def page_for(roles: frozenset[Role]) -> Callable[[View], View]:
    """Let in these roles. Nobody signed in goes to the sign-in page; another role is told so (403)."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            role = role_of(request.user)
            if role is None:
                return redirect_to_login(request.get_full_path())
            if role not in roles:
                raise PermissionDenied("Your role has no use for this page.")
            return view(request, *args, **kwargs)

        guarded.page_roles = roles  # type: ignore[attr-defined]
        return guarded

    return decorate


def open_page(view: View) -> View:
    """Mark a page that anyone may open, signed in or not."""
    view.page_roles = None  # type: ignore[attr-defined]
    return view
