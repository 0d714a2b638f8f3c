"""Tells how a wording alone comes out of a note, so that a word list can be checked against the reader.

Takes a wording and a vocabulary; gives the row that decides it, or what it is taken for instead.
"""

from converter.reading.grammar.parser import VALUES
from converter.reading.notation.marks import tokens_of_note
from converter.words import Vocabulary, Word
from converter.words.phrases import tokens_of

_WRITTEN = "a grade, a pair of grades or a number of times"


def reads_as(wording: str, vocabulary: Vocabulary) -> Word | str | None:
    """The row that a note with these words alone meets, what else they are read as, or None for neither."""
    tokens = tokens_of_note(wording, vocabulary)
    if len(tokens) == 1 and tokens[0].kind in VALUES | {"other"} and not tokens[0].meaning:
        return _WRITTEN
    if len(tokens) > 1:
        pieces = " and ".join(repr(wording[token.start : token.end]) for token in tokens)
        return f"the words {pieces}"
    names = tokens_of(wording)
    found = vocabulary.words.longest(names, 0)
    whole = found is not None and found[1] == len(names)
    if found is None or not whole:
        return None
    met = not tokens or (tokens[0].start, tokens[0].end) == (0, len(wording))
    return found[0] if met and bool(tokens) != (found[0].role == "filler") else None
