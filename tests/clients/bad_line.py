"""A line between a client and a server that is cut, at the socket, as often as it is told to be."""

import contextlib
import select
import socket
import struct
import threading
from collections.abc import Iterator


class BadLine:
    """Forwards connections to a port. Of the numbered ones the request arrives and the answer does not; of
    those in `dead` nothing arrives."""

    def __init__(self, port: int, *, cut: set[int], dead: set[int] = frozenset()) -> None:  # type: ignore[assignment]
        self._to, self._cut, self._dead = port, cut, dead
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listening.getsockname()[1])
        self.count = 0
        self._thread = threading.Thread(target=self._accept, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._listening.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
            except OSError:
                return
            self.count += 1
            with contextlib.suppress(OSError):
                self._carry(near, self.count)

    def _carry(self, near: socket.socket, number: int) -> None:
        # A reset rather than a farewell.
        near.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        with contextlib.closing(near):
            if number in self._dead:
                return
            with contextlib.closing(socket.create_connection(("127.0.0.1", self._to))) as far:
                while True:
                    ready, _, _ = select.select([near, far], [], [], 30)
                    for side in ready:
                        part = side.recv(65536)
                        if not part or (side is far and number in self._cut):
                            return
                        (far if side is near else near).sendall(part)


@contextlib.contextmanager
def bad_line(port: int, **how: set[int]) -> Iterator[BadLine]:
    """A line that is taken down at the end."""
    line = BadLine(port, **how)
    try:
        yield line
    finally:
        line.close()
