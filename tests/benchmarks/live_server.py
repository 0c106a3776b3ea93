"""Four clients at once against a real server process on the benchmark's database."""

import http.client
import json
import os
import socket
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection

from people.models import User
from people.services import device_token_issue
from tests.benchmarks.visit_bodies import body_of

CLIENTS = 4
SAVES = 75  # by each client


def p99_at_4_clients_ms(user: User, appliance: Any, analyser: Any) -> float:
    """99th percentile of the answer to a first save, in milliseconds."""
    _, token = device_token_issue(user=user, name="bench")
    raw = json.dumps(body_of(appliance, analyser)).encode()
    taken: list[float] = []
    with _server() as port:
        _saves(port, token, raw, 10, [])
        clients = [
            threading.Thread(target=_saves, args=(port, token, raw, SAVES, taken)) for _ in range(CLIENTS)
        ]
        for client in clients:
            client.start()
        for client in clients:
            client.join()
    if len(taken) != CLIENTS * SAVES:
        raise RuntimeError(f"only {len(taken)} of {CLIENTS * SAVES} saves were answered")
    return sorted(taken)[int(len(taken) * 0.99)] * 1000


def _saves(port: int, token: str, raw: bytes, count: int, taken: list[float]) -> None:
    client = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    for _ in range(count):
        start = time.perf_counter()
        client.request("PUT", f"/api/v1/visits/{uuid.uuid4()}/", raw, headers)
        answer = client.getresponse()
        answer.read()
        if answer.status != 201:
            raise RuntimeError(f"answered {answer.status}")
        taken.append(time.perf_counter() - start)


@contextmanager
def _server() -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    command = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1"]
    command += ["--port", str(port), "--workers", "2", "--blocking-threads", "2", "config.wsgi:application"]
    # As in production: its connections are kept, which those of the tests are not.
    environment = {
        **os.environ,
        "DATABASE_URL": _url(),
        "DJANGO_SETTINGS_MODULE": "config.settings.production",
        "SECRET_KEY": "worthless-and-only-for-this-benchmark-0123456789",
        "ALLOWED_HOSTS": "127.0.0.1",
        "SECURE_SSL_REDIRECT": "false",
    }
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        _wait_for(port)
        yield port
    finally:
        process.terminate()
        process.wait(timeout=20)


def _wait_for(port: int) -> None:
    for _ in range(240):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.25)
        else:
            return
    raise RuntimeError("the server did not come up within a minute")


def _url() -> str:
    """The address of the database that the benchmark made."""
    if connection.vendor != "postgresql":
        return f"sqlite:///{connection.settings_dict['NAME']}"
    settings = connection.settings_dict
    return f"postgres://{settings['USER']}@{settings['HOST']}:{settings['PORT']}/{settings['NAME']}"
