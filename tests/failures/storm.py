"""Devices in a bad place: what they send is cut off at random bytes, repeated, doubled and overtaken."""

import random
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from tests.failures.wire import Answer, exchange, request_bytes
from tests.visits.bodies import closed, firing, visit_body

SAVES = 4
"""Of each visit: the tests grow by one each, and the last save closes it."""
WAYS = {
    "whole": 4,
    "cut_request": 3,
    "cut_answer": 3,
    "doubled": 2,
    "overtaken": 2,
    "repeated": 1,
    "batch": 1,
}


@dataclass
class Sending:
    """One visit on its device: what it says at each save, and what was acknowledged."""

    uuid: str
    appliance: Any
    day: int
    acknowledged: set[int] = field(default_factory=set)

    def body(self, save_no: int) -> dict[str, Any]:
        """The whole visit as the device knows it at this save."""
        tests = [
            firing(f"t{number}", "high" if number % 2 else "low", "as_found", 10 + number, co_ppm=number)
            for number in range(1, save_no + 1)
        ]
        body = visit_body(
            self.appliance, save_no=save_no, tests=tests, opened_at=f"2026-03-{self.day:02}T09:00:00Z"
        )
        return closed(body) if save_no == SAVES else body


class Counter:
    """Requests of all devices together, up to a number."""

    def __init__(self, total: int) -> None:
        self.total, self.sent = total, 0
        self.ways: dict[str, int] = dict.fromkeys(WAYS, 0)
        self.refused: list[tuple[int, Any]] = []
        self._lock = threading.Lock()

    def take(self, count: int, way: str) -> bool:
        """Whether so many more may be sent."""
        with self._lock:
            if self.sent >= self.total:
                return False
            self.sent += count
            self.ways[way] += count
            return True


class Device(threading.Thread):
    """One device with its token and its visits, which it sends in any way that the place allows."""

    def __init__(self, token: str, visits: list[Sending], counter: Counter, seed: int) -> None:
        super().__init__(daemon=True)
        self._port, self._token, self.visits, self._counter = 0, token, visits, counter
        self._chance = random.Random(seed)
        self.failed: BaseException | None = None

    def begin(self, port: int) -> None:
        """Start to send to the server on this port."""
        self._port = port
        self.start()

    def run(self) -> None:
        try:
            self._send_all()
        except BaseException as error:  # noqa: BLE001 - shown by the test that joins the thread
            self.failed = error

    def _send_all(self) -> None:
        for visit, save_no in self._saves():
            while save_no not in visit.acknowledged:
                way = self._chance.choices(list(WAYS), list(WAYS.values()))[0]
                count = {"doubled": 2, "overtaken": 2, "repeated": 2}.get(way, 1)
                if not self._counter.take(count, way):
                    return
                getattr(self, f"_{way}")(visit, save_no)

    def _saves(self) -> Iterator[tuple[Sending, int]]:
        """The saves of a few visits at a time, mixed, each visit's in order."""
        waiting = list(self.visits)
        open_: list[tuple[Sending, int]] = []
        while waiting or open_:
            while waiting and len(open_) < 3:
                open_.append((waiting.pop(0), 1))
            place = self._chance.randrange(len(open_))
            visit, save_no = open_[place]
            yield visit, save_no
            if save_no == SAVES:
                open_.pop(place)
            else:
                open_[place] = (visit, save_no + 1)

    def _raw(self, visit: Sending, save_no: int) -> bytes:
        return request_bytes("PUT", f"/api/v1/visits/{visit.uuid}/", self._token, visit.body(save_no))

    def _note(self, visit: Sending, save_no: int, answer: Answer | None) -> None:
        if answer is None:
            time.sleep(0.01)  # the server may be away
        elif answer.status in (200, 201):
            visit.acknowledged.add(save_no)
        elif answer.status == 503:
            time.sleep(0.05)
        else:
            self._counter.refused.append((answer.status, answer.body))

    def _whole(self, visit: Sending, save_no: int) -> None:
        self._note(visit, save_no, exchange(self._port, self._raw(visit, save_no)))

    def _cut_request(self, visit: Sending, save_no: int) -> None:
        raw = self._raw(visit, save_no)
        # Half of them within the last bytes, where the server may have all it needs.
        first = len(raw) - 3 if self._chance.random() < 0.5 else 1
        exchange(self._port, raw, send=self._chance.randrange(first, len(raw) + 1))

    def _cut_answer(self, visit: Sending, save_no: int) -> None:
        exchange(self._port, self._raw(visit, save_no), receive=self._chance.choice([0, 1, 20, 200, 2000]))

    def _repeated(self, visit: Sending, save_no: int) -> None:
        for _ in range(2):
            self._whole(visit, save_no)

    def _doubled(self, visit: Sending, save_no: int) -> None:
        self._at_once([(visit, save_no), (visit, save_no)])

    def _overtaken(self, visit: Sending, save_no: int) -> None:
        """The next save arrives before this one, or beside it."""
        later = min(save_no + 1, SAVES)
        if self._chance.random() < 0.5:
            self._at_once([(visit, later), (visit, save_no)])
        else:
            self._whole(visit, later)
            self._whole(visit, save_no)

    def _at_once(self, saves: list[tuple[Sending, int]]) -> None:
        threads = [threading.Thread(target=self._whole, args=save) for save in saves]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

    def _batch(self, visit: Sending, save_no: int) -> None:
        """This save and the next, with others of the device's visits, in one request."""
        numbers = sorted({save_no, min(save_no + 1, SAVES)})
        entries = [(visit, number) for number in numbers]
        entries += [(other, 1) for other in self._chance.sample(self.visits, min(3, len(self.visits)))]
        raw = request_bytes(
            "POST",
            "/api/v1/visits/batch/",
            self._token,
            {"visits": [{"uuid": one.uuid, "body": one.body(number)} for one, number in entries]},
        )
        answer = exchange(self._port, raw)
        if answer is None or answer.status != 200:
            self._note(visit, save_no, answer)
            return
        for (one, number), told in zip(entries, answer.body["answers"], strict=True):
            self._note(one, number, Answer(told["status"], told))
