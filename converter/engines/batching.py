"""Cuts a stream of items into batches that are worth sending to another process, and keeps their order."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from converter.engines.engine import Done, Work
from converter.model import Diagnostic, Note

T = TypeVar("T")
P = TypeVar("P")

NOTES, CHARACTERS = 200, 400_000
"""A batch ends with the note that reaches one of these, unless said."""


@dataclass(slots=True)
class Batch(Generic[T]):
    """Items that travel together.

    Attributes:
        items: notes, and what is passed through between them.
        notes: the notes alone.
        results: by the index of the note; a Diagnostic where the work could not be done.
        deaths: how many workers died on a note, by its index.
        finished: whether there is a result for every note.
    """

    items: list[Any]
    notes: list[Note]
    results: dict[int, T | Diagnostic] = field(default_factory=dict)
    deaths: Counter[int] = field(default_factory=Counter)

    @property
    def finished(self) -> bool:
        """Whether every note has its result."""
        return len(self.results) == len(self.notes)

    def to_do(self) -> list[int]:
        """Indices of the notes that have no result yet."""
        return [index for index in range(len(self.notes)) if index not in self.results]

    def outcome(self, work: Work[T]) -> Iterator[tuple[Any, bool | None]]:
        """Each item as it comes out, with whether its note was done; None for what is no note."""
        index = 0
        for item in self.items:
            if not isinstance(item, Note):
                yield item, None
                continue
            result = self.results[index]
            index += 1
            if isinstance(result, Diagnostic):
                yield Done(item, work.instead(item, result)), False
            else:
                yield Done(item, result), True


def batches(items: Iterable[Note | P], most: int = NOTES) -> Iterator[Batch[Any]]:
    """Batches of at most so many notes, in the order of the stream."""
    held: list[Note | P] = []
    notes: list[Note] = []
    characters = 0
    for item in items:
        held.append(item)
        if isinstance(item, Note):
            notes.append(item)
            characters += len(item.text)
        if len(held) >= 2 * most or len(notes) >= most or characters >= CHARACTERS:
            yield Batch(held, notes)
            held, notes, characters = [], [], 0
    if held:
        yield Batch(held, notes)
