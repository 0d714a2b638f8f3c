"""Damage to good content that hypothesis draws and shrinks: put in, cut out, doubled, moved, flipped.

Works on bytes and on text alike; places are drawn as large numbers and taken within the length.
"""

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from hypothesis import strategies as st

Content = TypeVar("Content", str, bytes)
_FAR = 2**20

Change = tuple[str, int, int, Any]
"""What is done, where, how far, and with what."""


def changes(pieces: Sequence[Content], most: int = 4) -> st.SearchStrategy[list[Change]]:
    """A few changes that put in the given pieces."""
    kinds = st.sampled_from(sorted(_KINDS))
    reach = st.integers(0, 12) | st.integers(0, 400)
    return st.lists(
        st.tuples(kinds, st.integers(0, _FAR), reach, st.sampled_from(list(pieces))),
        min_size=1,
        max_size=most,
    )


def parted(pieces: Content) -> list[Content]:
    """The pieces of a text, which white space parts."""
    return pieces.split()


def damaged(content: Content, done: Sequence[Change]) -> Content:
    """The content after all changes, in order."""
    for kind, where, reach, piece in done:
        place = where % (len(content) + 1)
        content = _KINDS[kind](content, place, min(place + reach, len(content)), piece)
    return content


def _put(content: Any, start: int, _end: int, piece: Any) -> Any:
    return content[:start] + piece + content[start:]


def _cut(content: Any, start: int, end: int, _piece: Any) -> Any:
    return content[:start] + content[end:]


def _replace(content: Any, start: int, end: int, piece: Any) -> Any:
    return content[:start] + piece + content[end:]


def _double(content: Any, start: int, end: int, _piece: Any) -> Any:
    return content[:end] + content[start:end] * 3 + content[end:]


def _move(content: Any, start: int, end: int, piece: Any) -> Any:
    rest = content[:start] + content[end:]
    place = (start * 7 + len(piece)) % (len(rest) + 1)
    return rest[:place] + content[start:end] + rest[place:]


def _end(content: Any, start: int, _end: int, _piece: Any) -> Any:
    return content[:start]


def _many(content: Any, start: int, _end: int, piece: Any) -> Any:
    return content[:start] + piece * 60 + content[start:]


def _flip(content: Any, start: int, _end: int, piece: Any) -> Any:
    if isinstance(content, str):
        return content[:start] + content[start : start + 1].swapcase() + content[start + 1 :]
    flipped = bytes(byte ^ 1 << len(piece) % 8 for byte in content[start : start + 1])
    return content[:start] + flipped + content[start + 1 :]


_KINDS: dict[str, Callable[[Any, int, int, Any], Any]] = {
    "put": _put,
    "cut": _cut,
    "replace": _replace,
    "double": _double,
    "move": _move,
    "end": _end,
    "many": _many,
    "flip": _flip,
}
