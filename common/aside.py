"""Work done beside the caller's: a thread reads on, or writes what is ready, while the caller goes on."""

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from types import TracebackType
from typing import Any, Generic, Protocol, Self, TypeVar

from django.db import DEFAULT_DB_ALIAS, connections

T = TypeVar("T")
_END = object()


class Ahead(Iterator[T], Generic[T]):
    """Items, the next of which a thread draws from `begin` on. Use it as a context manager.

    Without `begin` it is drawn when asked for, as from any iterator; what drawing raises is raised there. The
    items must not rest on what belongs to the caller's thread, such as its database connection, nor on what
    the caller changes between `begin` and asking.
    """

    def __init__(self, items: Iterable[T]) -> None:
        self._items = iter(items)
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="ahead")
        self._next: Future[Any] | None = None

    def begin(self) -> None:
        """Let the thread draw the next item."""
        self._next = self._next or self._thread.submit(next, self._items, _END)

    def __next__(self) -> T:
        self.begin()
        drawn, self._next = self._next, None
        item: Any = drawn.result() if drawn else _END
        if item is _END:
            raise StopIteration
        return item  # type: ignore[no-any-return]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._thread.shutdown()


class Aside(Protocol):
    """Has a function called by the thread, once what it was given before is done."""

    def __call__(self, write: Callable[..., None], *given: Any) -> None: ...


@contextmanager
def writing_aside() -> Iterator[Aside]:
    """A thread that writes through the caller's database connection, in the caller's transaction.

    The caller computes what comes next meanwhile and leaves the connection alone until the end of the block,
    where all is written. What a write raises is raised at the next one or there, and ends the block.
    """
    lent = connections[DEFAULT_DB_ALIAS]
    thread = ThreadPoolExecutor(1, "aside", lambda: connections.__setitem__(DEFAULT_DB_ALIAS, lent))
    under_way: list[Future[None]] = []

    def wait() -> None:
        while under_way:
            under_way.pop().result()

    def aside(write: Callable[..., None], *given: Any) -> None:
        wait()
        under_way.append(thread.submit(write, *given))

    lent.inc_thread_sharing()
    try:
        with thread:
            yield aside
            wait()
    finally:
        lent.dec_thread_sharing()
