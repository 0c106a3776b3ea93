"""The shape of the table: who may ask what of which address, and what they are answered.

A table module is called `table_<app>.py` and holds `ROWS`. Each row is one method of one named address, asked
by everyone in PEOPLE, once about what is `mine` (the technician's own attendance and visits, the contact's
own site) and once about what is `theirs`.
"""

import importlib
import pkgutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

import tests.access

PEOPLE = ("anonymous", "office", "manager", "administrator", "technician", "contact")
SIDES = ("mine", "theirs")
Statuses = dict[str, int]


def _statuses(office: int, technician: int, contact: int, anonymous: int) -> Statuses:
    firm = dict.fromkeys(("office", "manager", "administrator"), office)
    return firm | {"technician": technician, "contact": contact, "anonymous": anonymous}


def everyone(status: int = 200, anonymous: int = 401) -> Statuses:
    """Anyone who has signed in."""
    return _statuses(status, status, status, anonymous)


def firm(status: int = 200, contact: int = 403, anonymous: int = 401) -> Statuses:
    """Anyone of the firm."""
    return _statuses(status, status, contact, anonymous)


def office(status: int = 200, technician: int = 403, contact: int = 403, anonymous: int = 401) -> Statuses:
    """Office, manager, administrator."""
    return _statuses(status, technician, contact, anonymous)


def nothing(**values: Any) -> dict[str, Any]:
    """No words in the address, no query, no body."""
    return {}


@dataclass(frozen=True)
class Row:
    """One method of one address.

    name: as in the address list, with its namespace.   mine, theirs: status per person; theirs left out: as
    mine.   kwargs, query, body: functions of (side, person, who) that fill the address, query and body.
    """

    method: str
    name: str
    mine: Statuses
    theirs: Statuses | None = None
    kwargs: Callable[..., dict[str, Any]] = field(default=nothing)
    query: Callable[..., dict[str, Any]] = field(default=nothing)
    body: Callable[..., dict[str, Any]] = field(default=nothing)
    note: str = ""

    def __str__(self) -> str:
        return f"{self.method} {self.name} {self.note}".strip()

    def expected(self, side: str) -> Statuses:
        """What everyone is answered about one side."""
        return self.mine if side == "mine" or self.theirs is None else self.theirs


def tables() -> Iterator[Row]:
    """The rows of every table module beside this one."""
    for module in pkgutil.iter_modules(tests.access.__path__):
        if module.name.startswith("table_"):
            yield from importlib.import_module(f"tests.access.{module.name}").ROWS


@contextmanager
def undone() -> Iterator[None]:
    """Whatever is written inside is taken back."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
