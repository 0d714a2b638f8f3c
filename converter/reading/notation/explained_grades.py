"""Finds the explanation of a scale, as in "0 absent, 1+ hypoactive, 2+ normal, 3+ brisk": it is no finding.

Takes the tokens of a note; gives them with each explanation as one token of the kind `legend`. Three grades
or more in rising order, each with words of its own, explain a scale; whether it is one of reflexes, words
that are said of nothing else tell.
"""

from collections.abc import Sequence

from converter.reading.tokens import Token
from converter.reading.written import Written

OF_REFLEXES = frozenset({"testing", "explained"})
"""Flags of an explanation whose words tell that the scale is one of reflexes."""
_FEWEST = 3
_MOST_WORDS = 7
_JOINS = frozenset({"equals", "dash", "colon", "is"})
_EXPLAINS = frozenset(
    {"other", "clonus_word", "condition", "no", "with", "and", "quality", "uncertain", "slash"}
)
_GRADES = frozenset({"value", "legend"})
_PARTS = frozenset({"comma", "stop", "pipe", "close"})
_ONLY_OF_REFLEXES = frozenset({"brisk", "hyperactive"})


def with_scales_joined(tokens: list[Token]) -> list[Token]:
    """The tokens of a note; the explanation of a scale is one token."""
    if sum(token.kind in _GRADES and _is_grade(token) for token in tokens) < _FEWEST - 1:
        return tokens
    joined: list[Token] = []
    index = 0
    while index < len(tokens):
        begins = _is_grade(tokens[index]) or _explains_none(tokens[index])
        end = _explained_up_to(tokens, index) if begins else index
        if end > index:
            told = _tells_reflexes(tokens[index:end])
            flags = OF_REFLEXES if told else frozenset()
            joined.append(Token("legend", tokens[index].start, tokens[end - 1].end, flags=flags))
        else:
            joined.append(tokens[index])
        index = max(end, index + 1)
    return joined


def _explained_up_to(tokens: Sequence[Token], start: int) -> int:
    """The index behind an explanation that begins with a grade; the same index where none does."""
    index, said, last, end = start, 0, -1.0, start
    while index < len(tokens) and (grade := _grade(tokens[index])) is not None and grade > last:
        words = _words(tokens, index + 1)
        if words == index + 1 and not _explains_none(tokens[index]):
            break
        said, last, end, index = said + 1, grade, words, words
        while index < len(tokens) and tokens[index].kind in _PARTS:
            if tokens[index].kind == "close" and not _opened(tokens[start:index]):
                break
            index += 1
    first = _grade(tokens[start])
    return end if said >= _FEWEST and first is not None and first <= 1 else start


def _opened(inside: Sequence[Token]) -> bool:
    kinds = [token.kind for token in inside]
    return kinds.count("open") > kinds.count("close")


def _words(tokens: Sequence[Token], index: int) -> int:
    """The index behind the words that explain a grade."""
    start = index
    while index < len(tokens) and tokens[index].kind in _JOINS | {"open"}:
        index += 1
    begun = index
    while index < len(tokens) and index - start < _MOST_WORDS and _explains(tokens[index]):
        index += 1
    return index if index > begun else start


def _explains(token: Token) -> bool:
    clonus = token.kind == "site" and "sign" in token.flags
    return clonus or token.kind in _EXPLAINS or (token.kind == "value" and _grade(token) is None)


def _explains_none(token: Token) -> bool:
    """As in "0 absent", which explains a scale by itself."""
    return token.kind == "legend" and not token.meaning


def _grade(token: Token) -> float | None:
    if _explains_none(token):
        return 0.0
    written = token.written
    return written.low if isinstance(written, Written) and token.kind == "value" else None


def _is_grade(token: Token) -> bool:
    return _grade(token) is not None


def _tells_reflexes(tokens: Sequence[Token]) -> bool:
    return any(
        (token.kind == "site" and token.meaning.startswith("clonus"))
        or token.kind == "condition"
        or (isinstance(token.written, Written) and token.written.descriptor in _ONLY_OF_REFLEXES)
        for token in tokens
    )
