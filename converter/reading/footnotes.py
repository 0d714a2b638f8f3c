"""Applies footnotes: "1+*" with a line "* only with reinforcement" below.

Takes the tokens of a sentence and the drafts so far; completes the drafts whose value carries the mark.
"""

from converter.reading.grammar.parts import Draft
from converter.reading.tokens import Token

_MANNER = frozenset({"reinforcement", "manoeuvre", "position", "technique", "quality"})
_MARKS = "*†"


def apply_footnote(text: str, tokens: list[Token], drafts: list[Draft]) -> None:
    """If the sentence is a footnote, add what it says to the findings that bear its mark."""
    mark = text[tokens[0].start]
    if tokens[0].kind != "other_mark" or mark not in _MARKS:
        return
    details = [token for token in tokens[1:] if token.kind in _MANNER]
    for draft in drafts:
        ends = [token.end for token, role in draft.used if role == "value"]
        if not any(text[end : end + 1] == mark for end in ends):
            continue
        for token in details:
            draft.details.note(token)
            draft.used = [*draft.used, (token, "detail")]
            token.used = "detail"
