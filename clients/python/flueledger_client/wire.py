"""One request and its answer over HTTP, with nothing but the standard library."""

import http.client
import json
import ssl
from dataclasses import dataclass
from typing import Any, Protocol
from urllib.parse import urlsplit

TIMEOUT_S = 30.0


class NoSignal(Exception):
    """Nothing whole came back. Whether it arrived is not known; sending it again is harmless."""


@dataclass(frozen=True)
class Answer:
    """What the server answered."""

    status: int
    body: Any
    etag: str | None = None
    retry_after_s: float | None = None


class Wire(Protocol):
    """Whatever carries one request. Raises NoSignal where no whole answer came back."""

    def ask(self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None) -> Answer:
        """Send one request with a JSON body, or none."""


class Http:
    """A new connection for every request: a phone that moves between cells keeps none alive."""

    def __init__(self, address: str, token: str, *, timeout_s: float = TIMEOUT_S) -> None:
        """address: of the server, such as https://ledger.example. Raises ValueError for anything else."""
        parts = urlsplit(address)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ValueError(f"address is {address!r}; it must be http://… or https://…")
        self._secure, self._host, self._port = parts.scheme == "https", parts.hostname, parts.port
        self._prefix, self._token, self._timeout_s = parts.path.rstrip("/"), token, timeout_s

    def ask(self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None) -> Answer:
        """Send one request; see Wire."""
        sent = {"Authorization": f"Bearer {self._token}", "Accept": "application/json", **(headers or {})}
        raw = None
        if body is not None:
            raw = json.dumps(body, ensure_ascii=False, allow_nan=False).encode()
            sent["Content-Type"] = "application/json"
        line = self._line()
        try:
            try:
                line.request(method, f"{self._prefix}/api/v1/{path}", raw, sent)
            except (BrokenPipeError, ConnectionResetError):
                # A server that refuses may hang up before it has heard all; what it said is there to be read.
                if line.sock is None:
                    raise
            answer = line.getresponse()
            whole = answer.read()
        except (OSError, http.client.HTTPException) as error:
            raise NoSignal(str(error) or type(error).__name__) from error
        finally:
            line.close()
        try:
            told = json.loads(whole) if whole else None
        except ValueError as error:
            # A login page of the café's network, or a proxy that speaks for the server.
            raise NoSignal(f"status {answer.status} with a body that is not JSON") from error
        return Answer(
            answer.status, told, answer.headers.get("ETag"), _seconds(answer.headers.get("Retry-After"))
        )

    def _line(self) -> http.client.HTTPConnection:
        if self._secure:
            context = ssl.create_default_context()
            return http.client.HTTPSConnection(
                self._host, self._port, timeout=self._timeout_s, context=context
            )
        return http.client.HTTPConnection(self._host, self._port, timeout=self._timeout_s)


def _seconds(header: str | None) -> float | None:
    """Retry-After as seconds; a date, which our server never sends, counts as none."""
    return float(header) if header is not None and header.strip().isdigit() else None
