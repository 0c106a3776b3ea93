"""The queue on disk: one row per save, there before anything is sent and until it is answered.

SQLite with a full sync per write, so that what `add` has returned survives a battery that comes out. Several
programs of one device may use the same file.
"""

import json
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

_TABLES = """
CREATE TABLE IF NOT EXISTS save (
    id INTEGER PRIMARY KEY,
    visit TEXT NOT NULL,
    save_no INTEGER NOT NULL,
    body TEXT NOT NULL,
    made_at TEXT NOT NULL,
    tries INTEGER NOT NULL DEFAULT 0,
    state TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'saved', 'refused')),
    status INTEGER,
    answer TEXT,
    UNIQUE (visit, save_no)
);
CREATE INDEX IF NOT EXISTS save_by_state ON save (state, id);
"""
_COLUMNS = "id, visit, save_no, body, made_at, tries, state, status, answer"


@dataclass(frozen=True)
class Save:
    """One save of a visit. state: waiting, saved or refused; answer: the server's, once there is one."""

    id: int
    visit: str
    save_no: int
    body: dict[str, Any]
    made_at: str
    tries: int
    state: str
    status: int | None
    answer: Any


class Queue:
    """Saves in the order they were made."""

    def __init__(self, path: str | Path) -> None:
        self._path = str(path)
        with self._writing() as held:
            held.executescript(_TABLES)

    def add(self, visit: str, body: dict[str, Any]) -> Save:
        """Keep the whole visit as it is now known, under the visit's next save number.

        Raises ValueError where `visit` is no UUID, or the body is no JSON (NaN is none).
        """
        name = str(uuid.UUID(visit))
        with self._writing() as held:
            (last,) = held.execute("SELECT max(save_no) FROM save WHERE visit = ?", (name,)).fetchone()
            number = (last or 0) + 1
            text = json.dumps({**body, "save_no": number}, ensure_ascii=False, allow_nan=False)
            made = held.execute(
                "INSERT INTO save (visit, save_no, body, made_at) VALUES (?, ?, ?, ?) RETURNING id",
                (name, number, text, datetime.now(UTC).isoformat()),
            ).fetchone()
        return self.get(made[0])

    def get(self, save_id: int) -> Save:
        """The save with this id. Raises KeyError where there is none."""
        for save in self._select("WHERE id = ?", save_id):
            return save
        raise KeyError(save_id)

    def waiting(self) -> list[Save]:
        """What is to be sent, oldest first."""
        return list(self._select("WHERE state = 'waiting' ORDER BY id"))

    def refused(self) -> list[Save]:
        """What the server did not take, oldest first; it stays until somebody drops it."""
        return list(self._select("WHERE state = 'refused' ORDER BY id"))

    def tried(self, save: Save) -> None:
        """Note one more try without an answer."""
        with self._writing() as held:
            held.execute("UPDATE save SET tries = tries + 1 WHERE id = ?", (save.id,))

    def settle(self, save: Save, *, saved: bool, status: int, answer: Any) -> None:
        """Keep the server's answer. Earlier saves of the visit need not be sent once a later one is saved:
        each is the whole visit."""
        with self._writing() as held:
            held.execute(
                "UPDATE save SET state = ?, status = ?, answer = ?, tries = tries + 1 WHERE id = ?",
                ("saved" if saved else "refused", status, json.dumps(answer, ensure_ascii=False), save.id),
            )
            if saved:
                held.execute(
                    "UPDATE save SET state = 'saved' WHERE visit = ? AND save_no < ? AND state = 'waiting'",
                    (save.visit, save.save_no),
                )

    def count_on_from(self, save: Save, last_save_no: int) -> Save:
        """Number this and the visit's later waiting saves above what the server knows of this device.

        For a queue that was lost once and counted from 1 again; without it the server takes the saves for
        late ones.
        """
        with self._writing() as held:
            rows = held.execute(
                "SELECT id, body FROM save WHERE visit = ? AND id >= ? AND state = 'waiting' ORDER BY id",
                (save.visit, save.id),
            ).fetchall()
            # From the last, so that no two ever share a number.
            for number, (row, text) in reversed(list(enumerate(rows, start=last_save_no + 1))):
                body = json.dumps({**json.loads(text), "save_no": number}, ensure_ascii=False)
                held.execute("UPDATE save SET save_no = ?, body = ? WHERE id = ?", (number, body, row))
        return self.get(save.id)

    def latest(self, visit: str) -> Save | None:
        """The last save of a visit, in whatever state."""
        return next(
            self._select("WHERE visit = ? ORDER BY save_no DESC LIMIT 1", str(uuid.UUID(visit))), None
        )

    def holds(self, visit: str, save_no: int) -> bool:
        """Whether this queue ever made that save."""
        return any(self._select("WHERE visit = ? AND save_no = ?", visit, save_no))

    def drop(self, save_id: int) -> bool:
        """Forget a refused save that was seen to. Whether there was one."""
        with self._writing() as held:
            done = held.execute("DELETE FROM save WHERE id = ? AND state = 'refused'", (save_id,))
            return done.rowcount == 1

    def _select(self, where: str, *values: Any) -> Iterator[Save]:
        with self._writing() as held:
            rows = held.execute(f"SELECT {_COLUMNS} FROM save {where}", values).fetchall()  # noqa: S608 - our words
        for id_, visit, number, body, made_at, tries, state, status, answer in rows:
            told = None if answer is None else json.loads(answer)
            yield Save(id_, visit, number, json.loads(body), made_at, tries, state, status, told)

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        held = sqlite3.connect(self._path, timeout=30, isolation_level=None)
        try:
            held.execute("PRAGMA journal_mode=WAL")
            held.execute("PRAGMA synchronous=FULL")
            held.execute("BEGIN IMMEDIATE")
            yield held
            if held.in_transaction:
                held.execute("COMMIT")
        finally:
            held.close()
