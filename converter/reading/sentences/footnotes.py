"""Applies footnotes: "1+*" with a line "* only with reinforcement" below.

Takes the tokens of a sentence and the drafts so far; completes the drafts whose value carries the mark.
"""

from converter.reading.grammar.parts import Draft
from converter.reading.tokens import Token

_MANNER = frozenset({"reinforcement", "manoeuvre", "position", "technique", "quality"})
_MARKS = frozenset("*†")


class Footnotes:
    """The findings of a note whose values bear the mark of a footnote, until that footnote has come.

    Args:
        text: the note.
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._seen = 0
        self._marked: dict[str, list[Draft]] = {}
        self._said: set[str] = set()

    def apply(self, tokens: list[Token], drafts: list[Draft]) -> list[Token]:
        """If the sentence is a footnote, add what it says to the findings that bear its mark.

        Args:
            tokens: the sentence.
            drafts: the findings of the note so far.

        Returns:
            Its words that are not known, where a finding bears the mark.
        """
        mark = self._text[tokens[0].start]
        if tokens[0].kind != "other_mark" or mark not in _MARKS:
            return []
        for draft in drafts[self._seen :]:
            self._note_mark(draft)
        self._seen = len(drafts)
        self._said.add(mark)
        marked = self._marked.get(mark, [])
        for draft in marked:
            _say(draft, tokens)
        return [token for token in tokens if token.kind == "other" and not token.used] if marked else []

    def _note_mark(self, draft: Draft) -> None:
        """Remember a finding by its mark; a footnote that has come is for the findings before it."""
        ends = [token.end for token, role in draft.used if role in ("value", "assertion")]
        for mark in {self._text[end : end + 1] for end in ends} & _MARKS:
            if mark in self._said:
                self._said.discard(mark)
                self._marked[mark] = []
            self._marked.setdefault(mark, []).append(draft)


def _say(draft: Draft, tokens: list[Token]) -> None:
    if draft.status == "not_tested":
        _take_reason(draft, tokens)
    for token in tokens[1:]:
        if token.kind in _MANNER:
            draft.details.note(token)
            draft.used = [*draft.used, (token, "detail")]
            token.used = "detail"


def _take_reason(draft: Draft, tokens: list[Token]) -> None:
    """As in "* left leg in cast" under "NT*"."""
    reason = next((token for token in tokens if token.kind == "reason" and token.meaning), None)
    if reason is not None and draft.reason is None:
        draft.reason, reason.used = reason.meaning, "detail"
        draft.used = [*draft.used, (reason, "detail")]
