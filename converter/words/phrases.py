"""The notation in which data files write wordings, and the tree that finds them again.

`knee[s] jerk[s]` stands for four wordings, `(deep|muscle) stretch reflex` for two. Takes notations; gives
token sequences and a tree that finds the longest one at a place.
"""

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Generic, TypeVar

T = TypeVar("T")

_PART = re.compile(r"\[([^\]]*)\]|\(([^)]*)\)|([^\[\](]+)")
_TOKEN = re.compile(r"\b[clst][1-8]\b|[^\W\d_]+(?:['’`´][^\W\d_]+)*['’]?|\d+|[^\w\s]|_", re.UNICODE)
_APOSTROPHES = str.maketrans("", "", "'’`´")
_NOTHING = frozenset[str]()
_REMEMBERED = 16_384
"""Notations and wordings that are remembered: all word lists are gone through several times at the start."""


@lru_cache(maxsize=_REMEMBERED)
def wordings(notation: str) -> tuple[str, ...]:
    """Every wording that a notation stands for, e.g. `jerk[s]` -> `jerk`, `jerks`."""
    stems = [""]
    for optional, choice, plain in _PART.findall(notation):
        endings = ["", *optional.split("|")] if optional else choice.split("|") if choice else [plain]
        stems = [stem + ending for stem in stems for ending in endings]
    return tuple(" ".join(stem.split()) for stem in stems)


def normal(token: str) -> str:
    """A token as the tree holds it: lower case, without apostrophes."""
    return token.lower().translate(_APOSTROPHES)


@lru_cache(maxsize=_REMEMBERED)
def tokens_of(wording: str) -> tuple[str, ...]:
    """The normal tokens of a wording."""
    if wording.isascii() and wording.replace(" ", "").isalpha():
        return tuple(wording.lower().split())
    if _APOSTROPHES.keys().isdisjoint(map(ord, wording)):
        return tuple(_TOKEN.findall(wording.lower()))
    return tuple(normal(token) for token in _TOKEN.findall(wording))


class PhraseTree(Generic[T]):
    """Finds the longest known phrase that starts at a token."""

    def __init__(self) -> None:
        self._root: dict[object, object] = {}

    def add(self, tokens: Sequence[str], value: T) -> T | None:
        """Add a phrase; give back what stood there before, which then stays."""
        node = self._root
        for token in tokens:
            node = node.setdefault(token, {})  # type: ignore[assignment]
        if None in node:
            return node[None]  # type: ignore[return-value]
        node[None] = value
        return None

    def replace(self, tokens: Sequence[str], value: T) -> None:
        """Put a value at a phrase, whatever stood there."""
        node = self._root
        for token in tokens:
            node = node.setdefault(token, {})  # type: ignore[assignment]
        node[None] = value

    def beginning(self, token: str) -> tuple[T | None, frozenset[str]]:
        """The value of the phrase that is this token alone, and what may follow it in longer ones."""
        node: dict[object, object] = self._root.get(token, {})  # type: ignore[assignment]
        if not node:
            return None, _NOTHING
        return node.get(None), frozenset(name for name in node if isinstance(name, str))  # type: ignore[return-value]

    def longest(self, tokens: Sequence[str], start: int) -> tuple[T, int] | None:
        """The value of the longest phrase at `start` and the index after it, or None.

        A hyphen between two words of a phrase is passed over, so `hyper-reflexia` is found as
        `hyper reflexia`; so is one line end, since notes wrap.
        """
        node: dict[object, object] = self._root
        best: tuple[T, int] | None = None
        index = start
        while index < len(tokens):
            step = node.get(tokens[index])
            if step is None and index > start and tokens[index] in ("-", "\n") and index + 1 < len(tokens):
                index += 1
                step = node.get(tokens[index])
            if step is None:
                break
            node = step  # type: ignore[assignment]
            index += 1
            if None in node:
                best = (node[None], index)  # type: ignore[assignment]
        return best
