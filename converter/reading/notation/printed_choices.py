"""Reads what a form prints to choose from: a scale with one grade marked, and questions with yes and no.

Takes the text and the tokens of a note; gives them with the grade that is marked alone, "0 1+ [2+] 3+", and
with "present? Yes" as what it answers. Where no grade of a printed scale is marked none is said. Common
practice, no source.
"""

from dataclasses import replace

from converter.reading.relevance.stems import STEM
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written

_FEWEST, _UNMARKED = 4, 5
"""Grades of a scale with one of them marked, and of one without a mark."""
_BETWEEN = frozenset({"comma", "slash", "pipe", "dash"})
_BEFORE = frozenset({"open", "other_mark"})
_BEHIND = frozenset({"close", "other_mark"})
_NAMES = frozenset({"site", "reflex", "region", "side", "at"})
_YES, _NO = frozenset({"yes", "y"}), frozenset({"no", "n"})
_ANSWERED = frozenset({"side", "colon", "comma", "slash", "pipe", "open", "close"})


def with_choices_read(text: str, tokens: list[Token]) -> list[Token]:
    """The tokens of a note with only what is chosen of what its forms print."""
    questions = "?" in text
    if not (questions or any(map(_begins_scale, tokens))):
        return tokens
    tokens = [part for index in range(len(tokens)) for part in _parted(text, tokens, index)]
    chosen: list[Token] = []
    index = 0
    while index < len(tokens):
        end, kept = _scale_at(tokens, index)
        if end == index and questions:
            end, kept = _question_at(text, tokens, index)
            if end > index and not any(token.written for token in kept):
                _leave_unanswered(chosen)
        chosen += kept if end > index else [tokens[index]]
        index = max(end, index + 1)
    return chosen


def _begins_scale(token: Token) -> bool:
    """Whether a token may be the first grade of a printed scale, which is 0."""
    written = token.written.first if isinstance(token.written, Pair) else token.written
    return isinstance(written, Written) and written.low == 0


def _parted(text: str, tokens: list[Token], index: int) -> list[Token]:
    """As in "0 / 1 / 2 / 3": the first two grades of a printed scale are no pair of sides."""
    token = tokens[index]
    written = token.written if token.kind == "pair" else None
    goes_on = index + 1 < len(tokens) and tokens[index + 1].kind == "slash"
    if not isinstance(written, Pair) or (written.first.low, written.second.low) != (0, 1) or not goes_on:
        return [token]
    slash = text.index("/", token.start)
    first = replace(token, kind="value", end=slash, written=written.first)
    return [first, replace(token, kind="value", start=slash + 1, written=written.second)]


def _scale_at(tokens: list[Token], start: int) -> tuple[int, list[Token]]:
    """The index behind a printed scale and the grade that is marked; the same index where none stands."""
    first = start + (tokens[start].kind in _BEFORE)
    if _grade(tokens, first) != 0 or not _named_before(tokens, start):
        return start, []
    index, end, said = start, start, 0
    marked: list[Token] = []
    while True:
        at = _past(tokens, index, _BEFORE)
        if _grade(tokens, at) != said:
            break
        touched = at + 1 < len(tokens) and tokens[at].end == tokens[at + 1].start
        end = _past(tokens, at + 1, _BEHIND) if touched or at > index else at + 1
        marked += [tokens[at]] if at > index or end > at + 1 else []
        said, index = said + 1, end
        index = _past(tokens, index, _BETWEEN)
    enough = said >= (_FEWEST if len(marked) == 1 else _UNMARKED)
    return (end, marked if len(marked) == 1 else []) if enough else (start, [])


def _past(tokens: list[Token], index: int, kinds: frozenset[str]) -> int:
    while index < len(tokens) and tokens[index].kind in kinds:
        index += 1
    return index


def _grade(tokens: list[Token], index: int) -> float | None:
    written = tokens[index].written if index < len(tokens) else None
    return written.low if isinstance(written, Written) and written.low == written.high else None


def _named_before(tokens: list[Token], index: int) -> bool:
    """Whether a name or its side stands right before, so that this is no line of numbers."""
    before = index - 1
    while before >= 0 and tokens[before].kind in ("colon", "side", "dash", "equals"):
        before -= 1
    return before >= 0 and tokens[before].kind in ("site", "reflex", "region", "close")


def _question_at(text: str, tokens: list[Token], start: int) -> tuple[int, list[Token]]:
    """As in "present? Yes", "present? R: yes L: no": the answers in place of what is asked.

    Where both are only printed, and where "no" does not tell which other value holds, nothing is said.
    """
    if [token.kind for token in tokens[start : start + 1]] != ["value"] or start + 2 >= len(tokens):
        return start, []
    asked, mark = tokens[start], tokens[start + 1]
    if mark.kind not in ("question", "uncertain") or text[mark.start] != "?":
        return start, []
    index, kept, answers = start + 2, [], []
    while index < len(tokens):
        said = text[tokens[index].start : tokens[index].end].lower()
        if said not in _YES | _NO and tokens[index].kind not in _ANSWERED:
            break
        answers += [said[0]] if said in _YES | _NO else []
        kept.append(_answer(tokens[index], asked, said))
        index += 1
    printed = sorted(answers) == ["n", "y"] and not any(token.kind == "side" for token in kept)
    return (index, [] if printed else kept) if answers else (start, [])


def _leave_unanswered(before: list[Token]) -> None:
    """The name before a question without an answer is no finding; it is listed as unread."""
    for place in range(len(before) - 1, -1, -1):
        if before[place].kind not in _NAMES:
            break
        before[place] = replace(before[place], kind="other", flags=frozenset({STEM}))


def _answer(token: Token, asked: Token, said: str) -> Token:
    """What "yes" or "no" says to a question; nothing where the opposite is not one value."""
    if said in _YES:
        return replace(token, kind="value", written=asked.written)
    if said not in _NO:
        return token
    if isinstance(asked.written, Written) and asked.written.descriptor == "present":
        return replace(token, kind="value", written=Written(descriptor="absent"), meaning="absent")
    return replace(token, kind="other", written=None)
