"""Finds the known word that a misspelt one stands for, where only one comes near.

Takes the wordings of the word lists; gives, for a word that no list holds, the one long word of the names of
reflexes, sides, regions and strengths that differs from it by a single slip: a letter too many, too few,
another one, or two that changed places.
"""

from collections.abc import Iterable

_SHORTEST = 6
"""Letters below which a slip makes another word too easily."""


class Spelling:
    """The known words, and those among them that a slip may be mended to.

    Attributes:
        known: every word of the word lists.
        mended_to: the words that a misspelt one may stand for.
    """

    def __init__(self, known: Iterable[str], mended_to: Iterable[str]) -> None:
        """Take every word of the word lists, and the words that a misspelt one may stand for."""
        self.known = frozenset(known)
        self._near: dict[str, set[str]] = {}
        self.mended_to = frozenset(mended_to)
        for word in self.mended_to:
            if len(word) >= _SHORTEST and word.isalpha():
                for key in {word, *_shorter(word)}:
                    self._near.setdefault(key, set()).add(word)

    def mended(self, word: str) -> str | None:
        """The known word that a misspelt one stands for; None for a known word.

        The first letter has to be the same. None, too, where no word or more than one comes near.
        """
        if len(word) < _SHORTEST or word in self.known or not word.isalpha():
            return None
        keys = {word, *_shorter(word)}
        if self._near.keys().isdisjoint(keys):
            return None
        near = {known for key in keys for known in self._near.get(key, ())}
        found = [known for known in near if known[0] == word[0] and one_slip(word, known)]
        return found[0] if len(found) == 1 else None


def _shorter(word: str) -> set[str]:
    return {word[:place] + word[place + 1 :] for place in range(len(word))}


def one_slip(word: str, other: str) -> bool:
    """Whether two words differ by a letter more, less or changed, or by two that changed places."""
    if abs(len(word) - len(other)) > 1 or word == other:
        return False
    start = next(
        (i for i, (a, b) in enumerate(zip(word, other, strict=False)) if a != b), min(len(word), len(other))
    )
    mine, theirs = word[start:], other[start:]
    if len(word) != len(other):
        return mine[1:] == theirs or mine == theirs[1:]
    return mine[1:] == theirs[1:] or (mine[:2] == theirs[1::-1] and mine[2:] == theirs[2:])
