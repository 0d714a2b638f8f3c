"""Lists the reflex wording of a sentence that no rule used."""

from converter.model import Unread
from converter.reading.grammar.parts import Draft
from converter.reading.tokens import Token

_REACH = 6
_FAR = frozenset({"assertion", "comparison", "exception"})
"""Parts of a finding that may stand far from it, with other things said between."""
_ENDS = frozenset({"comma", "and", "but", "close", "open", "other_exam", "look_alike"})


def unread_of(text: str, tokens: list[Token]) -> list[Unread]:
    """Triggers that no rule consumed, each with its own span and a reason."""
    found = []
    for index, token in enumerate(tokens):
        if not token.used and "trigger" in token.flags:
            end = _end(tokens, index)
            found.append(Unread(start=token.start, end=end, text=text[token.start : end], why=_why(token)))
    return found


def unknown_words(text: str, tokens: list[Token], drafts: list[Draft]) -> list[Unread]:
    """Words the vocabulary does not know inside a finding or right beside it: they may change its meaning."""
    places = {id(token): index for index, token in enumerate(tokens)}
    near: set[int] = set()
    for draft in drafts:
        own = sorted(places[id(t)] for t, role in draft.used if id(t) in places and role not in _FAR)
        if own:
            near.update(range(own[0] - 1, own[-1] + 2))
    return [
        Unread(start=token.start, end=token.end, text=text[token.start : token.end], why="unknown-word")
        for index, token in enumerate(tokens)
        if index in near and token.kind == "other" and not token.used and text[token.start].isalpha()
    ]


def _end(tokens: list[Token], index: int) -> int:
    """The words right after a trigger that nothing used either belong to what was not understood."""
    end = tokens[index].end
    for token in tokens[index + 1 : index + 1 + _REACH]:
        if token.used or "trigger" in token.flags or token.kind in _ENDS:
            break
        end = token.end
    return end


def _why(token: Token) -> str:
    return "no-value" if token.kind in ("reflex", "site") else "no-rule"
