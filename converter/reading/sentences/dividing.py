"""Divides the tokens of a note into sentences, and says how each begins.

Takes the tokens of a note; gives sentences without their closing marks. Knows line ends that only wrap,
headings, and stops that belong to an abbreviation.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from converter.reading.clocks import CLOCK
from converter.reading.tokens import Token

_HEADING = re.compile(r"[ \t]*(?:\d+[.)]\s*)?[A-Za-z][A-Za-z0-9 /&\[\]'’().-]{0,48}:(?!\d)")
_BULLET = re.compile(r"[ \t]*(?:[-*•·]\s|\d+[.)]\s)")
_TIMED = re.compile(
    r"[ \t]*(?:(?:\d{1,2}[./-]\d{1,2}[./-]\d{2,4}|\d{4}-\d{2}-\d{2})(?!\d)[^\r\n:\])]{0,20}[:\])]"
    rf"|{CLOCK.pattern}(?:[ \t]*[:–-]|\t| {{2}}))",
    re.IGNORECASE,
)
"""A line that begins with a date or a time of day and says something of it."""
_LONG_LINE = 60
_LONGEST = 50
"""Tokens after which a run without a stop is cut, so that the work stays in proportion to the text."""
_MAY_CUT = frozenset({"comma", "other", "other_exam", "newline"})
_MAY_END = frozenset({"newline", "question", "stop"})
_FAIRLY_LONG_LINE = 45
_RUNS_ON = frozenset({"at", "and", "is", "comma", "but", "with"})
ABBREVIATED = frozenset({"rt", "lt", "r", "l", "bilat", "resp", "bil"})
_MAY_CLOSE = frozenset({"r", "l", "bilat", "bil"})
_INSIDE = frozenset(
    {"site", "side", "value", "pair", "greater", "lesser", "reflex", "region", "count", "comma"}
)
"""What shows that the stop before it only ends an abbreviation."""
_PARTED = frozenset(
    {("other_exam", "value"), ("other_exam", "pair"), ("reflex", "other"), ("reflex", "other_exam")}
)
"""What stands behind and before a side with a stop that ends: "AJ 0 L. sens reduced", "droop L. refl 2+"."""
_EXPLAINS = frozenset({"equals", "dash", "colon", "value", "other", "no", "condition", "clonus_word", "is"})
_IN_DATES = frozenset({"other", "value", "pair", "slash", "dash", "stop"})
_WORDS_OF_LEAD, _LONGEST_LEAD = 8, 16
_REFLEXIVE = frozenset({"reflex", "site", "condition", "region", "side", "side_ref", "legend"})


@dataclass(frozen=True, slots=True)
class Sentence:
    """Tokens between two hard breaks.

    Attributes:
        tokens: the tokens, closing marks left out.
        heading: the sentence begins with a heading that is not about reflexes.
        history: that heading opens a part about the past.
        new_block: an empty line stands before it.
        new_line: it begins on a new line.
        closed: a mark such as a full stop ends it, rather than the line.
        kinds: the kinds of its tokens; most questions about a sentence are answered by what it does not hold.
    """

    tokens: list[Token]
    heading: bool
    history: bool
    new_block: bool
    new_line: bool
    closed: bool
    kinds: frozenset[str]


def sentences_of(text: str, tokens: list[Token], *, begins_line: bool = True) -> Iterator[Sentence]:
    """The sentences of a note, or of a part that may begin inside a line, in order."""
    current: list[Token] = []
    new_block = new_line = begins_line
    for index, token in enumerate(tokens):
        kind = token.kind
        if len(current) >= _LONGEST and (kind in _MAY_CUT or len(current) >= _LONGEST * 3 // 2):
            yield _sentence(text, current, new_block, new_line, closed=False)
            current, new_block, new_line = [], False, False
        if kind not in _MAY_END:
            current.append(token)
        elif kind == "newline":
            blank = not current and new_line
            if current and _wraps(text, token, tokens, index):
                continue
            if current:
                yield _sentence(text, current, new_block, new_line, closed=False)
                current, new_block = [], False
            new_block = new_block or blank or _blank_follows(tokens, index)
            new_line = True
        elif _explains_more(text, current, tokens, index):
            continue
        elif _ends(text, token, tokens, index):
            if _numbers_a_list(current, token, new_line):
                current = []
            elif current:
                yield _sentence(text, current, new_block, new_line, closed=True)
                current, new_block, new_line = [], False, False
        elif kind != "stop":
            current.append(token)
    if current:
        yield _sentence(text, current, new_block, new_line, closed=False)


def _explains_more(text: str, current: list[Token], tokens: list[Token], index: int) -> bool:
    """As in "Key: 0 none; 1 low; 4 clonus": behind the semicolon another grade is explained."""
    if text[tokens[index].start] != ";" or not current or current[0].kind != "legend":
        return False
    grade, said = tokens[index + 1 : index + 2], tokens[index + 2 : index + 3]
    if not grade or getattr(grade[0].written, "low", None) is None or not said:
        return False
    clonus = said[0].kind == "site" and said[0].meaning.startswith("clonus")
    return clonus or said[0].kind in _EXPLAINS


def _numbers_a_list(current: list[Token], stop: Token, new_line: bool) -> bool:
    """Whether a line begins with the number of a list: "2. Triceps: 2+"."""
    bare = len(current) == 1 and getattr(current[0].written, "bare", False)
    return bare and new_line and current[0].end == stop.start


def _sentence(text: str, tokens: list[Token], new_block: bool, new_line: bool, *, closed: bool) -> Sentence:
    end_of_heading = colon_among_first(tokens)
    lead = tokens[:end_of_heading] if end_of_heading is not None else []
    filled = end_of_heading == 0 and new_line
    heading = filled or (bool(lead) and (new_line or _capitalised(text, tokens[0])))
    said = text[lead[0].start : lead[-1].end] if lead else ""
    time = said.isdigit() or CLOCK.fullmatch(said) is not None
    foreign = heading and not time and not any(token.kind in _REFLEXIVE for token in lead)
    history = any(token.kind == "heading_other" and token.meaning == "history" for token in lead)
    kinds = frozenset([token.kind for token in tokens])
    return Sentence(tokens, foreign, history, new_block, new_line, closed, kinds)


def colon_among_first(tokens: list[Token]) -> int | None:
    """The index of a colon near the beginning of a sentence, which may end a heading; a date is one word."""
    words = 0
    for index, token in enumerate(tokens[:_LONGEST_LEAD]):
        if token.kind == "colon":
            return index
        before = tokens[index - 1] if index else None
        touches = before is not None and before.end == token.start and {before.kind, token.kind} <= _IN_DATES
        words += not (touches and words == 1)
        if words >= _WORDS_OF_LEAD:
            return None
    return None


def _capitalised(text: str, token: Token) -> bool:
    return text[token.start].isupper()


def _ends(text: str, token: Token, tokens: list[Token], index: int) -> bool:
    if token.kind == "question":
        following = tokens[index + 1] if index + 1 < len(tokens) else None
        return following is None or following.start != token.end
    if token.kind != "stop":
        return False
    if text[token.start] != "." or index == 0:
        return True
    if text[token.start - 1].isdigit() and text[token.end : token.end + 1].isdigit():  # "12.03.2024"
        return False
    previous = tokens[index - 1]
    word = text[previous.start : previous.end].lower()
    if previous.end != token.start or word not in ABBREVIATED or index + 1 == len(tokens):
        return True
    following = tokens[index + 1]
    if following.kind == "region" and [t.kind for t in tokens[index + 2 : index + 3]] == ["colon"]:
        return True
    before = [t.kind for t in tokens[max(0, index - 3) : index - 1]]
    if following.kind == "region" and before == ["side", "value"]:  # "plantars up L, down R. LL tone normal"
        return text[following.start].isupper()
    if following.kind == "region" and word in ("bilat", "bil") and _graded(tokens[index + 2 : index + 3]):
        # "toes up bilat. Arms 2+", but not "2+ bilat. UE"
        return _graded(tokens[index - 2 : index - 1]) and text[following.start].isupper()
    said = tokens[index - 2].kind if index > 1 else ""
    if (following.kind, said) in _PARTED:
        return True
    if word in _MAY_CLOSE and index > 1 and _said(tokens[index - 2]) and following.kind in ("site", "reflex"):
        return text[following.start].isupper()
    return not (following.kind in _INSIDE or text[following.start].islower())


def _graded(tokens: list[Token]) -> bool:
    return any(token.kind in ("value", "pair") for token in tokens)


def _said(token: Token) -> bool:
    """Whether what stands before a side is complete with it: "BJ 2+ bilat.", "brisker than R."."""
    return token.kind not in ("comma", "colon", "open", "newline", "stop", "dash")


def _wraps(text: str, newline: Token, tokens: list[Token], index: int) -> bool:
    """Whether a line end only wraps a sentence."""
    if index + 1 >= len(tokens) or tokens[index + 1].kind == "newline":
        return False
    looked_at = max(0, newline.start - _LONG_LINE - 1)  # no further back, or long lines cost their square
    line_start = (
        max(
            text.rfind("\n", looked_at, newline.start),
            text.rfind("\r", looked_at, newline.start),
            looked_at - 1,
        )
        + 1
    )
    following = text[newline.end : newline.end + 60].split("\n", 1)[0]
    if not following.strip() or any(begins.match(following) for begins in (_HEADING, _BULLET, _TIMED)):
        return False
    if text[newline.start - 1 : newline.start] == ":":
        return False
    if _begins_anew(tokens, index):
        return False
    first = following.lstrip()[0]
    length = newline.start - line_start
    if length >= _LONG_LINE:
        return True
    runs_on = index > 0 and tokens[index - 1].kind in _RUNS_ON
    if runs_on and tokens[index + 1].kind in ("value", "pair", "count"):
        return True
    said = tokens[index + 1].kind == "other_exam" and _graded(tokens[max(0, index - 1) : index])
    fairly_long = length >= _FAIRLY_LONG_LINE and not said  # "LL refl absent" over "sens sparing"
    return first.islower() and following[0] not in " \t" and (runs_on or fairly_long)


def _begins_anew(tokens: list[Token], index: int) -> bool:
    """As in "TJ ++" over "B/L plantar mute", "BS +++" over "reflexes brisk": a name with its own value."""
    behind = [token.kind for token in tokens[index + 1 : index + 3]]
    if not _graded(tokens[max(0, index - 1) : index]):
        return False
    named = behind[:1] in (["reflex"], ["site"]) and behind[1:] in (["value"], ["dash"], ["colon"])
    return behind == ["side", "site"] or named


def _blank_follows(tokens: list[Token], index: int) -> bool:
    return index + 1 < len(tokens) and tokens[index + 1].kind == "newline"
