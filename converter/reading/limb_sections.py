"""Keeps the limb that a line of its own names for the lines under it: "LOWER LIMBS" over "Reflexes: brisk".

Takes the sentences of a note in order; gives the region in which one speaks of reflexes without a place.
An empty line, another such line and a heading that names no part of the examination of limbs end it.
"""

from dataclasses import replace

from converter.reading.grammar.parts import Target
from converter.reading.sentences import Sentence, colon_among_first
from converter.reading.tokens import Token
from converter.words import Vocabulary

_IN_TITLES = frozenset({"region", "side", "colon", "dash", "bullet"})
_EXAMINED = frozenset({"other_exam", "reflex", "region", "side", "site", "bullet", "dash"})
_PLACES = frozenset({"region", "site", "otherwise", "except"})


class LimbSection:
    """The limb that the lines of a note are about, as far as a title says so."""

    def __init__(self) -> None:
        self._limb: Target | None = None
        self._begun = False

    def region_of(self, sentence: Sentence) -> Target | None:
        """The limb of what a sentence says of reflexes in general; none where it names a place itself."""
        titled = _title(sentence)
        if titled is not None:
            self._limb, self._begun = titled, True
            return None
        if (sentence.new_block and not self._begun) or _leads_elsewhere(sentence):
            self._limb = None
        self._begun = False
        if self._limb is None or not _speaks_in_general(sentence.tokens):
            return None
        return replace(self._limb)

    def side_of(self, sentence: Sentence, vocabulary: Vocabulary) -> str | None:
        """The side of the limb, for a sentence that names reflexes of this limb alone, and no side."""
        sites = [t.meaning.partition(":")[0] for t in sentence.tokens if t.kind == "site"]
        sided = any(t.kind in ("side", "pair", "region", "side_ref") for t in sentence.tokens)
        if self._limb is None or self._limb.side not in ("left", "right") or sided or not sites:
            return None
        limb = vocabulary.reflexes[self._limb.site].limb
        return self._limb.side if {vocabulary.reflexes[site].limb for site in sites} == {limb} else None


def _title(sentence: Sentence) -> Target | None:
    """The one limb that a line names, and nothing else."""
    tokens = sentence.tokens
    regions = [
        t for t in tokens if t.kind == "region" and "limb" in t.flags and not t.flags & {"part", "partial"}
    ]
    sides = [t for t in tokens if t.kind == "side"]
    whole = sentence.new_line and not sentence.closed
    if not whole or len(regions) != 1 or len(sides) > 1 or any(t.kind not in _IN_TITLES for t in tokens):
        return None
    site, _, side = regions[0].meaning.partition(":")
    said = sides[0].meaning if sides else side
    used = [(token, "side") for token in sides] + [(regions[0], "region")]
    return Target(site, side=said or None, region=True, flags=regions[0].flags, used=used)


def _leads_elsewhere(sentence: Sentence) -> bool:
    """Whether a heading names what no limb has: "Gait:", "Impression:"."""
    colon = colon_among_first(sentence.tokens)
    if colon is None or not sentence.new_line:
        return False
    return any(token.kind not in _EXAMINED for token in sentence.tokens[:colon])


def _speaks_in_general(tokens: list[Token]) -> bool:
    first = next((token for token in tokens if token.kind not in ("bullet", "dash")), None)
    general = first is not None and first.kind == "reflex"
    return general and not any(token.kind in _PLACES for token in tokens)
