"""Finds the wordings of a note that look like reflex findings and are none, to show them as such.

Takes the text and the vocabulary; gives their places. Only what a word list calls a look-alike is found here:
strength grades and legends, which the grammar sets aside by their neighbours, are left to it.
"""

from converter.model import Span
from converter.reading.notation.marks import tokens_of_note
from converter.reading.relevance.prefilter import may_speak_of_reflexes
from converter.words import Vocabulary

ROLE = "look_alike"


def look_alikes_of(text: str, vocabulary: Vocabulary) -> tuple[Span, ...]:
    """The places of known look-alikes, in order; none where the note cannot speak of reflexes at all."""
    if not may_speak_of_reflexes(vocabulary)(text):
        return ()
    return tuple(
        Span(token.start, token.end, ROLE) for token in tokens_of_note(text, vocabulary) if token.kind == ROLE
    )
