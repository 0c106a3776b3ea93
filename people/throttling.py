"""How many requests one person may send. Counted in each process's own memory: never through a server that
may be away, and without a write per read.
"""

import time
from dataclasses import dataclass
from math import ceil
from threading import Lock
from typing import Any

from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

WINDOW_S = 60.0


@dataclass(slots=True)
class _Counted:
    """since_s: when the minute began, counted from a name's first request.   before: in the minute before."""

    since_s: float
    before: int = 0
    now: int = 0

    def move_on(self, now_s: float) -> None:
        minutes = int((now_s - self.since_s) // WINDOW_S)
        if minutes:
            self.since_s += minutes * WINDOW_S
            self.before, self.now = (self.now if minutes == 1 else 0), 0

    def room_in_s(self, per_minute: int, now_s: float) -> float:
        """Seconds until one more fits: as the minute before fades, or with the first of the next one."""
        into_s = now_s - self.since_s
        if self.now >= per_minute:
            return WINDOW_S - into_s
        if self.now == 0 or self.before * (1.0 - into_s / WINDOW_S) + self.now < per_minute:
            return 0.0
        return WINDOW_S * (1.0 - (per_minute - self.now) / self.before) - into_s + 1.0 / per_minute


class Pace:
    """Counts per name over the last minute, by two numbers each, however many there were.

    The minute before counts for the share of it that a minute from now still covers, as if its requests had
    come evenly.
    """

    def __init__(self, most_names: int = 10_000) -> None:
        self._most_names = most_names
        self._counted: dict[str, _Counted] = {}
        self._lock = Lock()

    def wait_s(self, name: str, per_minute: int, now_s: float) -> float:
        """Count one more and answer 0; or count nothing and answer in how many seconds there is room."""
        with self._lock:
            counted = self._counted.get(name) or self._begun(name, now_s)
            counted.move_on(now_s)
            wait_s = counted.room_in_s(per_minute, now_s)
            if wait_s == 0.0:
                counted.now += 1
            return wait_s

    def clear(self) -> None:
        """Forget everybody."""
        with self._lock:
            self._counted.clear()

    def _begun(self, name: str, now_s: float) -> _Counted:
        if len(self._counted) >= self._most_names:
            oldest_s = now_s - 2.0 * WINDOW_S
            self._counted = {name: held for name, held in self._counted.items() if held.since_s > oldest_s}
        if len(self._counted) >= self._most_names:
            self._counted.clear()
        counted = self._counted[name] = _Counted(now_s)
        return counted


class PersonThrottle(BaseThrottle):
    """Per person, whichever of their devices sends; per address where nobody has signed in."""

    scope = "person"
    per_minute = 1200
    pace = Pace()

    def allow_request(self, request: Request, view: Any) -> bool:
        user = request.user
        who = f"user-{user.pk}" if user is not None and user.is_authenticated else self.get_ident(request)
        self._wait_s = self.pace.wait_s(f"{self.scope}:{who}", self.per_minute, time.monotonic())
        return self._wait_s == 0.0

    def wait(self) -> float:
        """Whole seconds, since a client that comes back a moment early is refused again."""
        return ceil(self._wait_s)


class SignInThrottle(PersonThrottle):
    """Tries to sign a device in, per address. Wrong passwords are counted apart and lock the name out."""

    scope = "sign-in"
    per_minute = 60


class RecordCheckThrottle(PersonThrottle):
    """Codes looked up on the open page, per address: guessing one in sixty bits is hopeless at this pace."""

    scope = "record-check"
    per_minute = 30
