"""The tick: one static pulse; tables say what is due. Running it twice, late or never harms nothing."""

from collections.abc import Callable
from datetime import datetime

from common import outbox

Duty = Callable[[datetime], object]
_duties: dict[str, Duty] = {"outbox": outbox.work_through}


def register(name: str, duty: Duty) -> None:
    """Add a duty that every tick calls with the present instant; it must decide by its own tables."""
    _duties[name] = duty


def tick(now: datetime) -> dict[str, object]:
    """Do every duty once and return what each answered."""
    return {name: duty(now) for name, duty in _duties.items()}
