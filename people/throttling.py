"""How many requests one person may send. Counted in each process's own memory: never through a server that
may be away, and without a write per read.
"""

from typing import Any

from django.core.cache.backends.locmem import LocMemCache
from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle


class PersonThrottle(SimpleRateThrottle):
    """Per person, whichever of their devices sends; per address where nobody has signed in."""

    scope = "person"
    rate = "1200/min"
    cache = LocMemCache("throttle", {"OPTIONS": {"MAX_ENTRIES": 10_000}})

    def get_cache_key(self, request: Request, view: Any) -> str:
        user = request.user
        who = f"user-{user.pk}" if user is not None and user.is_authenticated else self.get_ident(request)
        return f"{self.scope}:{who}"


class SignInThrottle(PersonThrottle):
    """Tries to sign a device in, per address. Wrong passwords are counted apart and lock the name out."""

    scope = "sign-in"
    rate = "60/min"


class RecordCheckThrottle(PersonThrottle):
    """Codes looked up on the open page, per address: guessing one in sixty bits is hopeless at this pace."""

    scope = "record-check"
    rate = "30/min"
