"""Serve the whole product with one command: the web process and the ticking process, watched over."""

import os
import signal
import socket
import subprocess
import sys
import time
from dataclasses import dataclass, field
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection

TICK_SECONDS = 2.0
STOP_SECONDS = 15.0
RESTART_SECONDS = 5.0
LOOK_SECONDS = 0.25
SQLITE_THREADS = 2
"""One process holds SQLite's write lock best; a second thread keeps short pages going behind a long one."""
POSTGRESQL_THREADS = 4


class Command(BaseCommand):
    help = "Serve on one address: web process and ticking process, until stopped with Ctrl-C."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--bind", default="127.0.0.1:8000", metavar="HOST:PORT")
        parser.add_argument("--threads", type=int, help="blocking threads of the web process")

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = parse_bind(options["bind"])
        refuse_taken(host, port)
        threads = options["threads"] or (
            SQLITE_THREADS if connection.vendor == "sqlite" else POSTGRESQL_THREADS
        )
        connection.close()
        manage = str(settings.BASE_DIR / "manage.py")
        web = Child("web", web_command(host, port, threads))
        tick = Child("ticking", [sys.executable, manage, "tick", "--every", f"{TICK_SECONDS:g}"])
        shown = f"[{host}]" if ":" in host else host
        Supervisor(self, web, tick, f"http://{shown}:{port}/", (host, port)).run()


@dataclass
class Child:
    """One process of ours, in a session of its own so that only the supervisor sends it signals."""

    name: str
    command: list[str]
    process: "subprocess.Popen[bytes] | None" = field(default=None, init=False)

    def start(self) -> None:
        self.process = subprocess.Popen(  # noqa: S603  our own interpreter and arguments
            self.command, cwd=settings.BASE_DIR, env=os.environ.copy(), start_new_session=True
        )

    def ended(self) -> int | None:
        """Its exit code, or None while it runs."""
        return self.process.poll() if self.process else None

    def tell(self, number: int) -> None:
        """Pass a signal on, if it still runs."""
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(number)

    def wait(self, until: float) -> None:
        """Wait for the end; past the instant, end it by force."""
        if self.process is None:
            return
        try:
            self.process.wait(timeout=max(until - time.monotonic(), 0.1))
        except subprocess.TimeoutExpired:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()


class Supervisor:
    """Starts both, passes signals on, starts the ticking process again, ends with the web process."""

    def __init__(
        self, command: BaseCommand, web: Child, tick: Child, address: str, place: tuple[str, int]
    ) -> None:
        self._command = command
        self._web = web
        self._tick = tick
        self._address = address
        self._place = place
        self._told: int | None = None

    def run(self) -> None:
        """Until a signal comes or the web process ends."""
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._remember)
        try:
            self._web.start()
            self._tick.start()
            self._say_when_it_answers()
            self._watch()
        finally:
            self._stop()
        code = self._web.ended()
        if self._told is None:
            raise CommandError(f"The web process ended by itself (exit code {code}).")
        self._say("Stopped.")

    def _remember(self, number: int, frame: FrameType | None) -> None:
        self._told = number

    def _say_when_it_answers(self) -> None:
        while self._told is None and self._web.ended() is None:
            try:
                socket.create_connection(self._place, timeout=1.0).close()
            except OSError:
                time.sleep(LOOK_SECONDS)
            else:
                self._say(f"Listening on {self._address} (Ctrl-C stops).")
                return

    def _watch(self) -> None:
        again_at = 0.0
        while self._told is None and self._web.ended() is None:
            if self._tick.ended() is not None:
                if not again_at:
                    again_at = time.monotonic() + RESTART_SECONDS
                    self._say("The ticking process ended by itself; it is started again in a moment.")
                elif time.monotonic() >= again_at:
                    self._tick.start()
                    again_at = 0.0
            time.sleep(LOOK_SECONDS)

    def _stop(self) -> None:
        for child in (self._web, self._tick):
            child.tell(signal.SIGTERM)
        until = time.monotonic() + STOP_SECONDS
        for child in (self._web, self._tick):
            child.wait(until)

    def _say(self, text: str) -> None:
        self._command.stdout.write(text)
        self._command.stdout.flush()


def parse_bind(text: str) -> tuple[str, int]:
    """Host and port of HOST:PORT (an IPv6 address in brackets). Raises CommandError for anything else."""
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isascii() or not port.isdigit() or not 1 <= int(port) <= 65535:
        raise CommandError(f"--bind is {text!r}; it must be HOST:PORT with a port from 1 to 65535.")
    return host.strip("[]"), int(port)


def refuse_taken(host: str, port: int) -> None:
    """Raise CommandError where the address cannot be listened on."""
    try:
        family, kind, protocol, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind, protocol) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(place)
    except OSError as error:
        raise CommandError(f"Cannot listen on {host}:{port}: {error.strerror or error}.") from error


def web_command(host: str, port: int, threads: int) -> list[str]:
    """Granian with one worker and this many blocking threads."""
    return [
        sys.executable,
        "-m",
        "granian",
        "--interface",
        "wsgi",
        "--host",
        host,
        "--port",
        str(port),
        "--workers",
        "1",
        "--blocking-threads",
        str(threads),
        "--log-level",
        "warning",
        "--no-ws",
        "config.wsgi:application",
    ]
