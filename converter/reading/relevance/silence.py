"""Tells from its tokens whether a text can say anything about reflexes, before tables and sentences are read.

Takes a text with its tokens; a text that cannot has no findings and no unread wording. Many that passed
the prefilter ends here: it only looks like reflex talk, or names a tendon without a grade.
"""

from converter.reading.grammar.parser import TENDON_KINDS, VALUES
from converter.reading.relevance.bare_tables import may_hold_bare_table
from converter.reading.relevance.stems import STEM
from converter.reading.tokens import Token
from converter.words import Vocabulary

_SPEAKING = frozenset({"trigger", "testing", "toes", "plantars", STEM})
_ALONE = frozenset({"trigger", "testing", STEM})
_SPEAKING_KINDS = frozenset({"legend", "side_ref"})
_GRADES = VALUES | {"run", "quality"}
"""What a tendon needs beside it, in the same text, to be spoken of."""


def speaks(tokens: list[Token]) -> bool:
    """Whether one of some words makes what it stands in one about reflexes."""
    for token in tokens:
        if (token.flags and not _SPEAKING.isdisjoint(token.flags)) or token.kind in _SPEAKING_KINDS:
            return True
    return False


def is_silent(text: str, tokens: list[Token], vocabulary: Vocabulary) -> bool:
    """Whether nothing can come of all tokens of a text together.

    Args:
        text: the text.
        tokens: all its tokens, marks and letters put plainly.
        vocabulary: the words of tables.
    """
    kinds, flags = {token.kind for token in tokens}, frozenset[str]().union(*(t.flags for t in tokens))
    if "reflex" in kinds or not (kinds.isdisjoint(_SPEAKING_KINDS) and flags.isdisjoint(_ALONE)):
        return False
    named = not (kinds.isdisjoint(TENDON_KINDS) and flags.isdisjoint(_SPEAKING))
    if named and not kinds.isdisjoint(_GRADES):
        return False
    return "newline" not in kinds or not may_hold_bare_table(vocabulary)(text.lower())
