"""The words that stand for the terminals of the grammar: from the word lists, and as grades are written.

Takes a role and a source of chance; gives one word of that role with the row that says what it means.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from converter.words import Word, shipped_vocabulary
from converter.words.phrases import wordings


@dataclass(frozen=True, slots=True)
class Said:
    """One word or mark of a sentence.

    Attributes:
        role: role of the word lists, `mark`, or a form: `GRADE`, `PAIR`, `COUNT`, `RUN`, `WORD`.
        text: as it stands in the sentence.
        row: the row that says what it means, for words of the lists.
        cell: the value as a case writes it; for a pair the two and for a run all, parted by a space.
    """

    role: str
    text: str
    row: Word | None = None
    cell: str = ""

    @property
    def meaning(self) -> str:
        """What the row says it means."""
        return self.row.meaning if self.row is not None else ""

    @property
    def flags(self) -> frozenset[str]:
        """What else the row says."""
        return self.row.flags if self.row is not None else frozenset()


_GRADES = (
    *(("0", "0"), ("1", "1"), ("2", "2"), ("3", "3"), ("1+", "1+"), ("2+", "2+"), ("3+", "3+"), ("4+", "4+")),
    *(("+1", "+1"), ("+2", "+2"), ("2/4", "2/4"), ("3+/4", "3+/4"), ("0/4", "0/4"), ("2 out of 4", "2/4")),
    *(("++", "++"), ("+++", "+++"), ("two plus", "2+"), ("one plus", "1+"), ("1-2+", "1-2+")),
    *(("2 to 3+", "2-3+"), ("trace to 1+", "trace-1+"), ("II/IV", "2/4"), ("2⁺", "2+")),
)
_PAIRS = (
    *(("2+/1+", "2+ 1+"), ("2+/2+", "2+ 2+"), ("1/2", "1 2"), ("0/2+", "0 2+"), ("++/+", "++ +")),
    *(("3+/3+", "3+ 3+"), ("2+/trace", "2+ trace"), ("1+/2+", "1+ 2+")),
)
_COUNTS = (("3 beats", "3"), ("4-5 beats", "4-5"), ("two beats", "2"), ("5 to 6 beats", "5-6"))
_RUNS = (
    ("2+/1+/2+", "2+ 1+ 2+"),
    ("0/1+/2+", "0 1+ 2+"),
    ("2/2/1/3", "2 2 1 3"),
    ("3+/3+/2+/0", "3+ 3+ 2+ 0"),
)
_WORDS = ("garden", "walking", "window", "breakfast", "weather")
_USUAL = {
    "AT": ("at the", "in the", "on the", "at", "in", "on"),
    "IS": ("is", "are", "was", "were", "remain", "found to be"),
    "AND": ("and", "&"),
    "BUT": ("but", "while"),
    "WITH": ("with",),
    "ONLY": ("only at", "only in"),
    "MORE": ("more", "greater"),
    "LESS": ("less", "weaker"),
    "THAN": ("than", "compared to"),
}
"""Of these roles the rows hold words for many uses; these are the ones that fit every place."""
_RUNS_ON = frozenset({"of", "in", "to"})
"""How a wording ends that may stand before a name alone: "loss of", "increase in"."""
_LEFT_OUT = {
    "not": "stands after its verb, not before a name",
    "b": "a small letter is a side only in capitals",
    "l": "a small letter is a side only in capitals",
    "r": "a small letter is a side only in capitals",
    "as": "a cause only before a sentence",
    "given": "a cause only before a sentence",
    "iv": "also a Roman four",
    "dec": "also a month",
    "t": "also a thoracic root",
    "zero plus": "also the grade 0+",
    "all four quadrants": "only a belly has quadrants",
    "all 4 quadrants": "only a belly has quadrants",
    "four quadrants": "only a belly has quadrants",
    "may": "also a month",
    "?": "a mark without room around it",
    "@": "a mark without room around it",
}
"""Wordings that mean this only in a place of their own, and why."""


def said_for(role: str, chance: random.Random) -> Said:
    """A word of a role."""
    forms = {"GRADE": _GRADES, "PAIR": _PAIRS, "COUNT": _COUNTS, "RUN": _RUNS}
    if role in forms:
        text, cell = chance.choice(forms[role])
        return Said(role, text, cell=cell)
    if role == "WORD":
        return Said(role, chance.choice(_WORDS))
    groups = _groups(role)
    return chance.choice(chance.choice(groups))


@cache
def _groups(role: str) -> tuple[Sequence[Said], ...]:
    """Words of a role by meaning, so that a rare reflex comes as often as a frequent one has names."""
    if role in _USUAL:
        return (tuple(Said(role, text, _row_of(text.removesuffix(" the"))) for text in _USUAL[role]),)
    groups: dict[object, list[Said]] = {}
    for row in shipped_vocabulary().rows:
        if row.role.upper() != role:
            continue
        for wording in wordings(row.phrase):
            if wording not in _LEFT_OUT and wording.split()[-1] not in _RUNS_ON:
                groups.setdefault((row.meaning, row.flags), []).append(
                    Said(role, _as_written(wording, row), row)
                )
    return tuple(group for group in groups.values() for _ in range(_times(group[0])))


def _times(said: Said) -> int:
    """One side is said far more often than both, or the same one again."""
    return 4 if said.meaning in ("left", "right") else 1


def _row_of(wording: str) -> Word | None:
    found = shipped_vocabulary().words.longest(wording.split(), 0)
    return found[0] if found else None


def _as_written(wording: str, row: Word) -> str:
    """Abbreviations and letters in capitals, names with one."""
    short = row.flags & {"short", "letter", "root"} and len(wording.split()[0]) <= 4
    return wording.upper() if short else wording
