"""A refusal arrives over a line slower than the server: nobody sends for ever what will never be taken."""

import contextlib
import json
import socket
import time
import uuid

import pytest

from people.services import device_token_issue
from tests.failures.served import served
from tests.failures.wire import request_bytes
from tests.visits.conftest import set_up_scene

PART, PAUSE_S = 200_000, 0.05


def sent_slowly(port, raw):
    """Status and code that come back where the body goes out in parts with pauses."""
    with contextlib.closing(socket.create_connection(("127.0.0.1", port), timeout=60)) as line:
        for start in range(0, len(raw), PART):
            line.sendall(raw[start : start + PART])
            time.sleep(PAUSE_S)
        held = b""
        while part := line.recv(65_536):
            held += part
    head, _, body = held.partition(b"\r\n\r\n")
    return int(head.split()[1]), json.loads(body[body.index(b"{") : body.rindex(b"}") + 1])["code"]


@pytest.mark.django_db(transaction=True)
def test_a_refusal_that_needs_no_body_waits_for_it_all_the_same(api_of, tmp_path):
    scene = set_up_scene(api_of)
    _, token = device_token_issue(user=scene.technician, name="tablet")
    path = f"/api/v1/visits/{uuid.uuid4()}/"
    with served(tmp_path) as server:
        raw = request_bytes("PUT", path, "nobody's", {"notes": "x" * 1_000_000})
        assert sent_slowly(server.port, raw) == (401, "token_refused")
        raw = request_bytes("PUT", path, token, {"notes": "x" * 3_000_000})
        assert sent_slowly(server.port, raw) == (413, "too_large")
        raw = raw.replace(b"Content-Length", b"Transfer-Encoding: chunked\r\nX-Length")
        assert sent_slowly(server.port, raw[:400]) == (411, "length_required")
