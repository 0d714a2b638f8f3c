"""Cuts a stream into batches that are bounded in number and in characters, so that memory stays flat."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")


def batches(
    items: Iterable[T], characters: Callable[[T], int], most_items: int, most_characters: int
) -> Iterator[list[T]]:
    """Batches in the order of the stream; a batch ends with the item that reaches a bound."""
    batch: list[T] = []
    held = 0
    for item in items:
        batch.append(item)
        held += characters(item)
        if len(batch) >= most_items or held >= most_characters:
            yield batch
            batch, held = [], 0
    if batch:
        yield batch
