"""Remembers values in which nothing was wrong, so that the same codes are not checked again and again.

A value is remembered for one slot by its content. Where the walk looked beyond the value, at other resources,
nothing is remembered; where it looked at the place (extensions with a context), that is part of the key.
"""

import marshal
import re
from typing import Any

from converter.check.findings import Findings
from converter.check.shapes import Slot

MOST_TRIES = 1024
"""So many more misses than hits, and a slot's values are taken to differ each time; they are not sought."""

_MOST_VALUES = 4096
_SHORT, _MOST_SHORT = 64, 32_768
_LONGEST_VALUE = 1000
_INDEX = re.compile(r"\[\d+\]")

Key = bytes | tuple[str, str, bytes]


class Uses:
    """Counts how often the walk looked beyond the value at hand.

    Attributes:
        scope: looks at other resources or at the resource around the value.
        place: looks at the path of the value.
    """

    __slots__ = ("place", "scope")

    def __init__(self) -> None:
        self.scope = 0
        self.place = 0


def content_key(value: Any, longest: int = _LONGEST_VALUE) -> bytes | None:
    """A value's content as bytes, equal only for equal values; None for what has no short form."""
    try:
        key = marshal.dumps(value, 2)  # version 2 writes equal values alike, whoever shares them
    except ValueError:  # exact decimals
        return None
    return key if len(key) <= longest else None


def place_key(kind: Any, path: str, key: bytes) -> Key:
    """A key that holds for one type of resource and one path, whatever the index."""
    return (str(kind), _INDEX.sub("", path), key)


def remember(
    slot: Slot, key: bytes, kind: Any, path: str, uses: Uses, before: tuple[int, int, int], found: Findings
) -> None:
    """Remember a value that was just checked, if nothing was found and nothing beyond it decided."""
    found_before, scope_before, place_before = before
    if found.count != found_before or uses.scope != scope_before:
        return
    if len(slot.known) >= (_MOST_SHORT if len(key) < _SHORT else _MOST_VALUES):
        return
    if uses.place != place_before:
        slot.placed = True
        slot.known.add(place_key(kind, path, key))
    else:
        slot.known.add(key)
