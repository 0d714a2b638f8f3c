"""Lists the reflex wording of a sentence that no rule used."""

from converter.model import Unread
from converter.reading.tokens import Token

_REACH = 6
_ENDS = frozenset({"comma", "and", "but", "close", "open", "other_exam", "look_alike"})


def unread_of(text: str, tokens: list[Token]) -> list[Unread]:
    """Triggers that no rule consumed, each with its own span and a reason."""
    found = []
    for index, token in enumerate(tokens):
        if not token.used and "trigger" in token.flags:
            end = _end(tokens, index)
            found.append(Unread(start=token.start, end=end, text=text[token.start : end], why=_why(token)))
    return found


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
