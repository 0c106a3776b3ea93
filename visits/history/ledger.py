"""What the passes must remember of a whole file, kept on disk so that memory does not grow with it."""

import json
import sqlite3
from typing import Any
from uuid import UUID

Facts = dict[str, Any]
Key = tuple[str, ...]

CACHED_ENTITIES = 4000
_PAGE_CACHE_KIB = 16_384

_TABLES = """
CREATE TABLE visit (uuid BLOB PRIMARY KEY, first_row INTEGER NOT NULL, bad_row INTEGER) WITHOUT ROWID;
CREATE TABLE bad_row (number INTEGER PRIMARY KEY, reason TEXT NOT NULL);
CREATE TABLE facts (entity TEXT PRIMARY KEY, facts TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE said (sentence TEXT PRIMARY KEY) WITHOUT ROWID;
"""


class Ledger:
    """A scratch database of one import: visits met, rows found bad, facts stated, notes already made.

    SQLite keeps a database without a name in its own temporary file, beyond a bounded page cache, and deletes
    it when closed. Nothing here is the record; it is lost with the process.
    """

    def __init__(self) -> None:
        # Any thread may ask, one at a time: the reading of the file goes on in another.
        self._scratch = sqlite3.connect("", isolation_level=None, check_same_thread=False)
        self._scratch.executescript(
            "PRAGMA journal_mode=OFF; PRAGMA synchronous=OFF; "
            f"PRAGMA cache_size=-{_PAGE_CACHE_KIB}; {_TABLES} BEGIN;"
        )
        self._facts: dict[Key, Facts] = {}
        self._moved: set[Key] = set()

    def close(self) -> None:
        """Let the scratch file go."""
        self._scratch.close()

    def visit_begins(self, visit: UUID, row: int) -> int | None:
        """Note that a visit's rows begin here. Returns the row where they began before, if they did."""
        begun = self._scratch.execute(
            "INSERT OR IGNORE INTO visit (uuid, first_row) VALUES (?, ?)", (visit.bytes, row)
        )
        if begun.rowcount:
            return None
        first_row: int = self._one("SELECT first_row FROM visit WHERE uuid = ?", visit.bytes)
        return first_row

    def row_is_bad(self, row: int, visit: UUID | None, reason: str) -> None:
        """Note a bad row, and with it the whole visit, which must have begun."""
        self._scratch.execute(
            "INSERT INTO bad_row (number, reason) VALUES (?, ?) "
            "ON CONFLICT (number) DO UPDATE SET reason = reason || '; ' || excluded.reason",
            (row, reason),
        )
        if visit is not None:
            self._scratch.execute(
                "UPDATE visit SET bad_row = coalesce(bad_row, ?) WHERE uuid = ?", (row, visit.bytes)
            )

    def reason(self, row: int) -> str | None:
        """Why a row is bad, if it is."""
        reason: str | None = self._one("SELECT reason FROM bad_row WHERE number = ?", row)
        return reason

    def bad_row_of(self, visit: UUID) -> int | None:
        """The row that makes a visit bad, if one does."""
        bad_row: int | None = self._one("SELECT bad_row FROM visit WHERE uuid = ?", visit.bytes)
        return bad_row

    def visit_counts(self) -> tuple[int, int]:
        """Visits met, and how many of them are bad."""
        met, bad = self._scratch.execute("SELECT count(*), count(bad_row) FROM visit").fetchone()
        return met, bad

    def facts(self, *entity: str) -> Facts:
        """What the file states of a site, model, appliance or burner, named by its kind and names."""
        known = self._facts.get(entity)
        if known is None:
            if len(self._facts) >= CACHED_ENTITIES:
                self._put_away()
            stored = self._one("SELECT facts FROM facts WHERE entity = ?", json.dumps(entity))
            known = self._facts[entity] = json.loads(stored) if stored else {}
        return known

    def facts_learn(self, entity: Key, stated: Facts) -> dict[str, Any]:
        """Keep what was not known of an entity. Returns the facts known otherwise, as they are kept."""
        known = self.facts(*entity)
        given = {name: value for name, value in stated.items() if value not in ("", None)}
        fresh = {name: value for name, value in given.items() if name not in known}
        if fresh:
            known.update(fresh)
            self._moved.add(entity)
        return {name: known[name] for name, value in given.items() if known[name] != value}

    def facts_renew(self, entity: Key, stated: Facts, at: str) -> None:
        """Keep facts that may change in time as they were last; `at` sorts as the instants do."""
        known = self.facts(*entity)
        if at >= known.get("renewed_at", ""):
            known.update(stated, renewed_at=at)
            self._moved.add(entity)

    def _put_away(self) -> None:
        """Write what was learnt to the scratch file, to have room for other entities."""
        self._scratch.executemany(
            "INSERT OR REPLACE INTO facts (entity, facts) VALUES (?, ?)",
            [(json.dumps(entity), json.dumps(self._facts[entity])) for entity in self._moved],
        )
        self._facts.clear()
        self._moved.clear()

    def is_new(self, sentence: str) -> bool:
        """Whether a sentence is said for the first time, and note that it was."""
        return bool(
            self._scratch.execute("INSERT OR IGNORE INTO said (sentence) VALUES (?)", (sentence,)).rowcount
        )

    def _one(self, query: str, *values: Any) -> Any:
        found = self._scratch.execute(query, values).fetchone()
        return found[0] if found else None
