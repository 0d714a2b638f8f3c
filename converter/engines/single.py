"""The engine that does everything in this process, one note after another."""

from collections.abc import Iterable, Iterator
from types import TracebackType
from typing import Generic, Self, TypeVar

from converter.engines.engine import Account, Done, Work
from converter.engines.faults import work_failed
from converter.model import Note

T = TypeVar("T")
P = TypeVar("P")


class SingleProcess(Generic[T]):
    """Does the work here."""

    def __init__(self, work: Work[T]) -> None:
        self.account = Account()
        self._work = work

    def prepared(self, items: Iterable[Note | P]) -> Iterator[Note | P]:
        """The same items: there is nothing to get ready."""
        return iter(items)

    def run(self, items: Iterable[Note | P]) -> Iterator[Done[T] | P]:
        """See `Engine.run`."""
        work = self._work.open()
        for item in items:
            if not isinstance(item, Note):
                yield item
                continue
            self.account.notes += 1
            try:
                result = work(item)
            except Exception as error:
                self.account.failed += 1
                result = self._work.instead(item, work_failed(item, type(error).__name__))
            else:
                self.account.done += 1
            yield Done(item, result)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing was started, so nothing is ended."""
