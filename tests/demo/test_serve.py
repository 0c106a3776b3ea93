"""One command serves the product and takes both of its processes with it when it goes."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError

from web.management.commands.serve import parse_bind, refuse_taken

PATIENCE_S = 180.0


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """Development settings on a database of the test's own."""
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "config.settings.dev",
        "DATABASE_URL": f"sqlite:///{tmp_path / 'served.sqlite3'}",
    }


@pytest.fixture
def served(environment: dict[str, str]) -> Iterator[tuple[subprocess.Popen[str], str]]:
    manage = [sys.executable, "manage.py"]
    for command in ("migrate", "createcachetable"):
        subprocess.run([*manage, command, "-v0"], cwd=settings.BASE_DIR, env=environment, check=True)
    address = f"127.0.0.1:{free_port()}"
    process = subprocess.Popen(
        [*manage, "serve", "--bind", address],
        cwd=settings.BASE_DIR,
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        yield process, f"http://{address}/"
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            process.wait(PATIENCE_S)
        assert process.stdout is not None
        process.stdout.close()


@pytest.mark.slow
def test_serve_answers_and_stops_both_processes(served: tuple[subprocess.Popen[str], str]) -> None:
    process, address = served
    assert process.stdout is not None
    assert address in process.stdout.readline()
    children = children_of(process.pid)
    assert {"granian", "tick"} <= {word for child in children for word in command_of(child)}
    assert status(f"{address}static/vendor/plotly/plotly-cartesian.min.js") == 200
    assert status(f"{address}admin/login/") == 200
    process.send_signal(signal.SIGINT)
    assert process.wait(PATIENCE_S) == 0
    assert "Stopped" in process.stdout.read()
    assert not [child for child in children if Path(f"/proc/{child}").exists()]


@pytest.mark.parametrize("text", ["8000", ":8000", "127.0.0.1:", "127.0.0.1:0", "127.0.0.1:65536", "a:b"])
def test_an_address_that_cannot_be_parsed_is_refused(text: str) -> None:
    with pytest.raises(CommandError, match="it must be HOST:PORT"):
        parse_bind(text)


def test_addresses_of_both_families_are_parsed() -> None:
    assert parse_bind("0.0.0.0:80") == ("0.0.0.0", 80)  # noqa: S104  parsed, not listened on
    assert parse_bind("[::1]:8000") == ("::1", 8000)


def test_an_address_that_is_taken_is_refused_before_anything_starts() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        host, port = taken.getsockname()
        with pytest.raises(CommandError, match=f"Cannot listen on {host}:{port}"):
            refuse_taken(host, port)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def status(address: str) -> int:
    """The answer's status; the first request may have to wait for the worker."""
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            with urllib.request.urlopen(address, timeout=PATIENCE_S) as answer:  # noqa: S310  our own server
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.5)


def children_of(pid: int) -> list[int]:
    """Processes whose parent this is, from /proc."""
    if not Path("/proc").exists():
        pytest.skip("this machine has no /proc to look for the processes in")
    return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def command_of(pid: int) -> list[str]:
    return Path(f"/proc/{pid}/cmdline").read_text().split("\0")
