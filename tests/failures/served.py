"""The product as `manage.py serve` runs it, on the test's own data, to be killed and started again."""

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

PATIENCE_S = 120.0
NOBODY = "redis://127.0.0.1:1/0"
"""Where no Redis listens."""


class Served:
    """One server on one address, and what its database holds."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self._file = folder / "served.sqlite3"
        if connection.vendor == "sqlite":
            self._copy_database()
        self._log = (folder / "served.log").open("ab")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start the web and the ticking process and wait until they listen."""
        environment = {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "config.settings.dev",
            "DATABASE_URL": self._database_url(),
            "REDIS_URL": NOBODY,
        }
        self._process = subprocess.Popen(
            [sys.executable, "manage.py", "serve", "--bind", f"127.0.0.1:{self.port}"],
            cwd=settings.BASE_DIR,
            env=environment,
            stdout=self._log,
            stderr=self._log,
        )
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
            except OSError:
                time.sleep(0.05)
            else:
                return
        raise RuntimeError("the server did not come up")

    def kill_web(self) -> None:
        """Kill -9 the web process, whatever it is in the middle of; the supervisor then ends by itself."""
        assert self._process is not None
        for child in children_of(self._process.pid):
            if b"granian" in Path(f"/proc/{child}/cmdline").read_bytes():
                os.killpg(child, signal.SIGKILL)
        assert self._process.wait(PATIENCE_S) != 0

    def stop(self) -> None:
        """End both processes in order."""
        if self._process is not None and self._process.poll() is None:
            self._process.send_signal(signal.SIGTERM)
            self._process.wait(PATIENCE_S)
        self._log.close()

    def rows(self, statement: str) -> list[tuple[Any, ...]]:
        """What the server's database answers."""
        if connection.vendor == "sqlite":
            held = sqlite3.connect(self._file)
            try:
                return held.execute(statement).fetchall()
            finally:
                held.close()
        with connection.cursor() as cursor:
            cursor.execute(statement)
            return list(cursor.fetchall())

    def _database_url(self) -> str:
        if connection.vendor == "sqlite":
            return f"sqlite:///{self._file}"
        held = connection.settings_dict
        return f"postgres://{held['USER']}@{held['HOST']}:{held['PORT']}/{held['NAME']}"

    def _copy_database(self) -> None:
        """The test's database is in memory, where no other process reaches it."""
        connection.ensure_connection()
        target = sqlite3.connect(self._file)
        try:
            connection.connection.backup(target)
        finally:
            target.close()


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """A running server, stopped at the end."""
    if not Path("/proc").exists():
        raise RuntimeError("this machine has no /proc to look for the processes in")
    server = Served(folder)
    try:
        server.start()
        yield server
    finally:
        server.stop()


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def children_of(pid: int) -> list[int]:
    """Processes whose parent this is."""
    return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
