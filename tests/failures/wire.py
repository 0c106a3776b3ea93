"""HTTP by hand over a plain socket, so that a request or its answer can be cut off at any byte."""

import contextlib
import json
import socket
import struct
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Answer:
    """What came back, whole."""

    status: int
    body: Any


def request_bytes(method: str, path: str, token: str, body: Any) -> bytes:
    """One whole request, the connection to be closed after it."""
    raw = json.dumps(body).encode()
    head = (
        f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer {token}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(raw)}\r\nConnection: close\r\n\r\n"
    )
    return head.encode() + raw


def exchange(port: int, raw: bytes, *, send: int | None = None, receive: int | None = None) -> Answer | None:
    """Send the request and read the answer. None where nothing whole came back.

    send: hang up after this many bytes of the request.   receive: after this many of the answer.
    """
    with contextlib.closing(socket.socket()) as line:
        line.settimeout(60)
        # Hang up with a reset, as a phone that leaves the cell does, not with a farewell.
        line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        try:
            line.connect(("127.0.0.1", port))
            line.sendall(raw[:send])
            if send is not None:
                return None
            return _answer(_read(line, receive)) if receive is None else _cut(line, receive)
        except OSError:
            return None


def _cut(line: socket.socket, most: int) -> None:
    _read(line, most)


def _read(line: socket.socket, most: int | None) -> bytes:
    held = b""
    while most is None or len(held) < most:
        part = line.recv(65536 if most is None else most - len(held))
        if not part:
            break
        held += part
    return held


def _answer(raw: bytes) -> Answer | None:
    head, gap, body = raw.partition(b"\r\n\r\n")
    if not gap:
        return None
    fields = head.decode("latin-1").lower().split("\r\n")
    if "transfer-encoding: chunked" in fields:
        body = _joined(body)
    else:
        length = next((int(f.split(":")[1]) for f in fields if f.startswith("content-length:")), None)
        if length is not None and len(body) < length:
            return None
    try:
        return Answer(int(fields[0].split()[1]), json.loads(body))
    except ValueError:
        return None


def _joined(body: bytes) -> bytes:
    whole = b""
    while body:
        size, _, rest = body.partition(b"\r\n")
        count = int(size or b"0", 16)
        if count == 0:
            return whole
        whole, body = whole + rest[:count], rest[count + 2 :]
    return b""
