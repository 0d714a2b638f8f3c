"""What every engine promises: work on notes goes in, results come out in order, and they add up.

Holds the interface alone; the engines are in files of their own.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from types import TracebackType
from typing import Generic, Protocol, Self, TypeVar

from converter.model import Diagnostic, Note

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)
P = TypeVar("P")


class Work(Protocol[T_co]):
    """What is done to every note.

    A frozen value that can be pickled: it travels to where the work is done, and is opened there once.
    Everything that the work needs (session, vocabulary) it carries, or makes when it is opened.
    """

    def open(self) -> Callable[[Note], T_co]:
        """The work itself: a function from a note to its result, which can be pickled too.

        Called once in each process. Everything that is the same for all notes is made here. The function
        gives the same result for the same note wherever it runs.
        """
        ...

    def instead(self, note: Note, fault: Diagnostic) -> T_co:
        """What stands for the result of a note that the work could not be done on: it must tell the fault."""
        ...


@dataclass(frozen=True, slots=True)
class Done(Generic[T]):
    """A note with its result."""

    note: Note
    result: T


@dataclass(slots=True)
class Account:
    """What became of the notes of a run so far; `notes` is the sum of the next two once the run is over.

    Attributes:
        notes: notes that came in.
        done: notes whose result came out.
        failed: notes for which `Work.instead` stands.
        lost: workers that died.
        retried: batches that were done again because of that.
    """

    notes: int = 0
    done: int = 0
    failed: int = 0
    lost: int = 0
    retried: int = 0

    @property
    def adds_up(self) -> bool:
        """Whether every note that came in came out."""
        return self.notes == self.done + self.failed


class Engine(Protocol[T]):
    """Does one work on a stream of notes; use it in a `with` block, which ends whatever it started.

    Attributes:
        account: what became of the notes so far.
    """

    account: Account

    def prepared(self, items: Iterable[Note | P]) -> Iterator[Note | P]:
        """The same items; meanwhile the engine gets ready for as many as seem to come.

        For a caller that must do something else between this and `run`, such as opening a database; else
        `run` does it.
        """
        ...

    def run(self, items: Iterable[Note | P]) -> Iterator[Done[T] | P]:
        """The result of every note, in the order of the notes.

        Args:
            items: notes, and between them anything else, which is passed through at its place. It is read no
                further ahead than the engine can work on, so memory does not grow with its length.

        Raises:
            EngineError: the engine itself cannot go on; notes whose results have not come out were not done.
        """
        ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class EngineError(Exception):
    """An engine cannot go on; the message is one plain sentence."""
