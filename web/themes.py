"""The stored choice between light and dark. Without one the device's own preference holds."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

COOKIE = "theme"
CHOICES = [("", _("as the device asks")), ("light", _("light")), ("dark", _("dark"))]
_YEAR_S = 365 * 24 * 3600


def theme_of(request: HttpRequest) -> str:
    """`light`, `dark`, or empty; anything else in the cookie counts as empty."""
    chosen = request.COOKIES.get(COOKIE, "")
    return chosen if chosen in {"light", "dark"} else ""


def keep_theme(response: HttpResponse, theme: str, *, secure: bool) -> None:
    """Store the choice on this device only: a bright boiler room and a dim office differ."""
    if theme:
        response.set_cookie(COOKIE, theme, max_age=_YEAR_S, secure=secure, httponly=True, samesite="Lax")
    else:
        response.delete_cookie(COOKIE, samesite="Lax")
