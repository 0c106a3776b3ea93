"""The tick: one static pulse; tables say what is due. Running it twice, late or never harms nothing."""

import logging
from collections.abc import Callable
from datetime import datetime

from common import outbox

log = logging.getLogger(__name__)

Duty = Callable[[datetime], object]
_duties: dict[str, Duty] = {"outbox": outbox.work_through}


def register(name: str, duty: Duty) -> None:
    """Add a duty that every tick calls with the present instant; it must decide by its own tables."""
    _duties[name] = duty


def tick(now: datetime) -> dict[str, object]:
    """Do every duty once and return what each answered. One that fails is logged; the rest go on."""
    return {name: _done(name, duty, now) for name, duty in _duties.items()}


def _done(name: str, duty: Duty, now: datetime) -> object:
    try:
        return duty(now)
    except Exception as error:
        log.exception("tick: %s failed", name)
        return f"failed: {type(error).__name__}"
