"""Applies footnotes: "1+*" with a line "* only with reinforcement" below.

Takes the tokens of a sentence and the drafts so far; completes the drafts whose value carries the mark.
"""

from converter.reading.grammar.parts import Draft
from converter.reading.tokens import Token

_MANNER = frozenset({"reinforcement", "manoeuvre", "position", "technique", "quality"})
_MARKS = "*†"


def apply_footnote(text: str, tokens: list[Token], drafts: list[Draft]) -> list[Token]:
    """If the sentence is a footnote, add what it says to the findings that bear its mark.

    Returns:
        Its words that are not known, where a finding bears the mark.
    """
    mark = text[tokens[0].start]
    if tokens[0].kind != "other_mark" or mark not in _MARKS:
        return []
    marked = False
    details = [token for token in tokens[1:] if token.kind in _MANNER]
    for draft in drafts:
        ends = [token.end for token, role in draft.used if role == "value"]
        if not any(text[end : end + 1] == mark for end in ends):
            continue
        marked = True
        for token in details:
            draft.details.note(token)
            draft.used = [*draft.used, (token, "detail")]
            token.used = "detail"
    return [token for token in tokens if token.kind == "other" and not token.used] if marked else []
