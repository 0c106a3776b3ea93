"""Queue first, send when there is signal, show what was judged or refused."""

import random
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flueledger_client.queue import Queue, Save
from flueledger_client.wire import Answer, Http, NoSignal, Wire

FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 120.0
AGAIN = frozenset({408, 425, 429, 500, 502, 503, 504})
"""Not the body's fault: it waits."""
SIGN_IN_AGAIN = 401
"""It waits too, and no try helps before the device has a new token."""


@dataclass(frozen=True)
class Sent:
    """How one save fared. conflict: the server's problem details where another device or a correction
    stands against it."""

    save: Save
    answer: Answer

    @property
    def saved(self) -> bool:
        """Whether the server holds it."""
        return self.answer.status in (200, 201)

    @property
    def make_safe(self) -> str | None:
        """What to do at once, where the readings ask for it: shown before anything else."""
        return self.answer.body.get("make_safe") if self.saved else None

    @property
    def conflict(self) -> dict[str, Any] | None:
        """Problem details of a 409 or 412: both sides stand in `conflicts` or `differs`."""
        return self.answer.body if self.answer.status in (409, 412) else None


class Client:
    """One device."""

    def __init__(
        self,
        address: str,
        token: str,
        *,
        queue: str | Path | Queue,
        wire: Wire | None = None,
        pause: Callable[[float], None] = time.sleep,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self.queue = queue if isinstance(queue, Queue) else Queue(queue)
        self._wire = wire or Http(address, token)
        self._pause, self._chance = pause, chance
        self.waits_for = ""
        """Why the last `send` left something waiting, in a few words."""

    @staticmethod
    def new_visit() -> str:
        """A UUID for a visit whose form is opened now."""
        return str(uuid.uuid4())

    def save(self, visit: str, body: dict[str, Any]) -> Save:
        """Keep the whole visit as now known, on disk. Nothing is sent."""
        return self.queue.add(visit, body)

    def day(self, on: str) -> Any:
        """Everything needed for a day (YYYY-MM-DD). Raises NoSignal, or RuntimeError where it is refused."""
        answer = self._wire.ask("GET", f"day/?date={on}")
        if answer.status != 200:
            raise RuntimeError(f"the day was refused with {answer.status}: {answer.body}")
        return answer.body

    def send(self, *, tries: int = 5) -> list[Sent]:
        """Send what waits, oldest first; per save the outcome. What finds no signal waits on.

        tries: how often one save is tried before this gives up for now; `waits_for` then says why.
        """
        outcomes: list[Sent] = []
        self.waits_for = ""
        for save in self.queue.waiting():
            current = self.queue.get(save.id)
            if current.state != "waiting":
                continue  # a later save of its visit was taken, or another program sent it
            outcome = self._send(current, tries)
            if outcome is None:
                break  # no signal, or no token: the rest would fare no better
            outcomes.append(outcome)
        return outcomes

    def _send(self, save: Save, tries: int) -> Sent | None:
        for pause_s in self._pauses(tries):
            asked_s = None
            try:
                answer = _of_ours(self._wire.ask("PUT", f"visits/{save.visit}/", save.body))
            except NoSignal as none:
                self.queue.tried(save)
                self.waits_for = f"signal ({none})"
            else:
                lost_count = self._lost_count(save, answer)
                if lost_count is not None:
                    save = self.queue.count_on_from(save, lost_count)
                    continue
                if answer.status == SIGN_IN_AGAIN:
                    self.queue.tried(save)
                    self.waits_for = f"a new token ({answer.body['code']})"
                    return None
                if answer.status not in AGAIN:
                    outcome = Sent(save, answer)
                    self.queue.settle(save, saved=outcome.saved, status=answer.status, answer=answer.body)
                    return outcome
                self.queue.tried(save)
                self.waits_for = f"the server ({answer.status} {answer.body['code']})"
                asked_s = answer.retry_after_s
            if pause_s is not None:
                self._pause(max(pause_s, asked_s or 0.0))
        return None

    def _pauses(self, tries: int) -> Iterator[float | None]:
        """Growing pauses between tries, each between half and the whole, so that devices that lost their
        signal together do not come back together; none after the last."""
        for number in range(tries):
            whole = min(FIRST_PAUSE_S * 2**number, LONGEST_PAUSE_S)
            yield None if number == tries - 1 else whole * (0.5 + 0.5 * self._chance())

    def _lost_count(self, save: Save, answer: Answer) -> int | None:
        """The server's last save number of this device, where this queue never made that save: it was lost
        once. The server then takes a new save for a late one, answers 200 and writes nothing."""
        if answer.status == 409 and answer.body.get("code") == "save_no_reused":
            return int(answer.body["last_save_no"])
        if answer.status == 200 and isinstance(answer.body, dict):
            number = int(answer.body.get("save_no") or save.save_no)
            if number > save.save_no and not self.queue.holds(save.visit, number):
                return number
        return None


def _of_ours(answer: Answer) -> Answer:
    """The answer, if our server gave it. Raises NoSignal for that of a network's own page or a proxy: what
    it calls done is not stored, and what it refuses is not refused."""
    told = answer.body if isinstance(answer.body, dict) else {}
    if ("revision" if answer.status in (200, 201) else "code") not in told:
        raise NoSignal(f"status {answer.status} from something that is not our server")
    return answer
