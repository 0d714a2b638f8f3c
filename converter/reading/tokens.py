"""Turns the text of a note into the tokens of the grammar.

Takes the text and the vocabulary; gives tokens with their place, what they are to the grammar (`kind`) and
what they mean. Words that the vocabulary does not know become `other`. Leaves sense to the grammar.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from converter.reading.lexicon import MISSPELT, PIECES, Entry, Lexicon, lexicon_of
from converter.reading.notation.boxes import with_boxes_read
from converter.reading.relevance.stems import PLAIN
from converter.reading.written import Count, Pair, Run, Written, written_at
from converter.words import Vocabulary, Word

_KINDS: dict[type, str] = {Written: "value", Pair: "pair", Count: "count", Run: "run"}
_OUT_OF = re.compile(r"\s?(?:out\s+of|of|/)\s*\+?(?:[45]|IV|V|four|five)\+?(?!\w)", re.IGNORECASE)
_WIDE = re.compile(r"[ \u00a0]*(?:\t|[ \u00a0]{3})")
_FIVE = re.compile(r"5|five|(?<!I)V", re.IGNORECASE)
_ENDS_HERE = re.compile(r"\s*(?:[,;.)\r\n]|$)")
_LEFT_GRADE = re.compile(r"[Ll][0-5]")
_BOTH_NEXT = re.compile(r"\s?(?:b/l|bilat\w*|bil|both)(?:\s*[,;.)\r\n]|\s*$)", re.IGNORECASE)
_SIDE_NEXT = re.compile(r"\s?(?:R|L|right|left)\b")


_BEFORE_A_LETTER = (
    "site",
    "side",
    "reflex",
    "region",
    "colon",
    "equals",
    "is",
    "dash",
    "other_exam",
    "slash",
)
_BEHIND_A_LETTER = frozenset(
    {"comma", "stop", "close", "newline", "slash", "and", "but", "side", "with", "except"}
    | {"region", "site", "reflex", "other_exam"}
)
_ALL_FOUR = frozenset({"all", "times"})
_LIMBS = frozenset({"ext", "exts", "extremities", "limbs", "extr"})
_BESIDE = frozenset({"close", "dash", "question", "greater"})
"""Marks whose meaning depends on the tokens beside them; of other tokens only values do so."""


@dataclass(slots=True)
class Token:
    """A token of the grammar.

    Attributes:
        kind: a role of the vocabulary (`site`, `side` ...), a mark (`comma` ...), `value`, `pair`, `count`,
            `run`, `newline`, `gap` or `other`.
        start, end: place in the note.
        meaning: canonical value of a word.
        flags: flags of a word.
        written: the value, pair or count, for those kinds.
        used: what a rule made of it: a role, or empty where no rule has used it.
    """

    kind: str
    start: int
    end: int
    meaning: str = ""
    flags: frozenset[str] = PLAIN
    written: Written | Pair | Count | Run | None = None
    used: str = ""


def tokens_of_note(text: str, vocabulary: Vocabulary) -> list[Token]:
    """All tokens of a note, in order; fillers are left out."""
    return _adjusted(text, with_boxes_read(text, _left_beside_right(text, _tokens(text, vocabulary))))


def _left_beside_right(text: str, tokens: list[Token]) -> list[Token]:
    """In `R2 L2` the second is the left side with its grade, and no root."""
    if _LEFT_GRADE.search(text) is None:
        return tokens
    parted: list[Token] = []
    for index, token in enumerate(tokens):
        if token.end - token.start == 2 and _LEFT_GRADE.fullmatch(text, token.start, token.end):
            gap = len(tokens) > index + 1 and tokens[index + 1].kind == "slash"
            after = tokens[index + 1 + gap : index + 3 + gap]
            before = parted[:-1] if parted and parted[-1].kind == "slash" else parted
            if _grades_right(before[-2:]) or _grades_right(after):
                grade = float(text[token.start + 1])
                side = Token("side", token.start, token.start + 1, "left", frozenset({"letter"}))
                written = Written(low=grade, high=grade, bare=True)
                parted += [side, Token("value", token.start + 1, token.end, written=written)]
                continue
        parted.append(token)
    return parted


def _grades_right(tokens: list[Token]) -> bool:
    """Whether two tokens are the right side with a grade right behind it: `R2`."""
    if len(tokens) != 2 or tokens[0].kind != "side" or tokens[1].kind != "value":
        return False
    return "letter" in tokens[0].flags and tokens[0].meaning == "right" and tokens[0].end == tokens[1].start


def _adjusted(text: str, tokens: list[Token]) -> list[Token]:
    """Settle what a token means from the tokens beside it: `x2`, `L-`, `(-)`, two arrows."""
    adjusted: list[Token] = []
    for index, token in enumerate(tokens):
        if token.written is None and token.kind not in _BESIDE:
            adjusted.append(token)
            continue
        if _joins_regions(tokens, index):
            token = replace(token, kind="and", written=None)
        if _taken_in(text, adjusted, token):
            continue
        if token.kind == "question" and _doubts(tokens, index):
            token = replace(token, kind="uncertain")
        before = adjusted[-1] if adjusted else None
        if before is not None and _only_points(text, before, tokens, index):
            start = adjusted.pop().start if token.kind == "greater" else token.start
            token = Token("dash", start, token.end)
        elif "letter" in token.flags and not _stands_for_normal(text, before, tokens, index):
            token = replace(token, kind="other", written=None)
        elif token.kind == "count" and isinstance(token.written, Count) and token.written.repeat:
            token = _repeat(token, adjusted)
        elif token.kind == "dash" and before is not None and _denies(before, tokens, index):
            token = replace(token, kind="no")
        elif token.kind == "dash" and before is not None and _is_minus(text, before, token, adjusted):
            token = _minus(before, token)
        elif "arrow" in token.flags and before is not None and "arrow" in before.flags:
            token = _with_arrow_before(token, adjusted)
        adjusted.append(token)
    return adjusted


def _taken_in(text: str, adjusted: list[Token], token: Token) -> bool:
    """Whether a token only completes what stands before it: "ext" in "x4 ext"."""
    before = adjusted[-1] if adjusted else None
    if before is not None and before.flags is _ALL_FOUR and text[token.start : token.end].lower() in _LIMBS:
        before.end = token.end
        return True
    return False


def _only_points(text: str, before: Token, tokens: list[Token], index: int) -> bool:
    """As in "R -> 3+", "KJ → 2+": an arrow that only points from a name to its grade."""
    token = tokens[index]
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    sided = after is not None and after.kind == "side" and index + 2 < len(tokens)
    valued = tokens[index + 2] if sided else after
    if after is None or valued is None or valued.kind not in ("value", "pair"):
        return False
    if token.kind == "greater":
        named = tokens[index - 2] if index > 1 else None
        return before.kind in ("dash", "equals") and before.end == token.start and _is_name(named)
    return "arrow" in token.flags and token.meaning == "equivocal" and _is_name(before)


def _is_name(token: Token | None) -> bool:
    return token is not None and token.kind in ("site", "side", "reflex", "region")


def _stands_for_normal(text: str, before: Token | None, tokens: list[Token], index: int) -> bool:
    """Whether a letter is the value of what stands before it: "AJ N", "tone N", but not "N VII" or "N/V"."""
    token = tokens[index]
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    bracketed = [t.kind for t in tokens[index + 1 : index + 4]] == ["open", "side", "close"]
    ends = after is None or after.kind in _BEHIND_A_LETTER or bracketed
    mate = text[token.end + 1 : token.end + 2] if text[token.end : token.end + 1] == "/" else "N"
    named = before is not None and (before.kind in _BEFORE_A_LETTER or (bracketed and before.kind == "comma"))
    named = named or [t.kind for t in tokens[max(0, index - 3) : index]] == ["value", "region", "comma"]
    return named and ends and mate == "N" and text[token.start].isupper()


def _with_arrow_before(token: Token, adjusted: list[Token]) -> Token:
    """Two arrows side by side are one for each side."""
    before = adjusted[-1]
    first, second = before.written, token.written
    if before.end != token.start or not (isinstance(first, Written) and isinstance(second, Written)):
        return token
    adjusted.pop()
    return replace(token, kind="pair", start=before.start, written=Pair(first, second))


def _minus(before: Token, token: Token) -> Token:
    """What a minus says: of a reflex that it is absent, of a sign that it is negative."""
    absent = before.kind in ("site", "reflex") and "sign" not in before.flags
    said = Written(descriptor="absent") if absent else Written(polarity="negative")
    return replace(token, kind="value", written=said)


def _doubts(tokens: list[Token], index: int) -> bool:
    """`?up`, `up?,`: a question mark that touches a value."""
    before, token = tokens[index - 1] if index else None, tokens[index]
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    values = ("value", "pair")
    leads = after is not None and after.kind in values and after.start == token.end
    ends = before is not None and before.kind in values and before.end == token.start
    return leads or (ends and after is not None and after.kind in ("comma", "side"))


def _joins_regions(tokens: list[Token], index: int) -> bool:
    """Whether a plus sign means "and": "UL + LL"."""
    if not 0 < index < len(tokens) - 1 or not isinstance(tokens[index].written, Written):
        return False
    single = tokens[index].end - tokens[index].start == 1 and getattr(tokens[index].written, "counted", False)
    return single and tokens[index - 1].kind == tokens[index + 1].kind == "region"


def _denies(before: Token, tokens: list[Token], index: int) -> bool:
    """`2+ throughout, - clonus`: a minus before a sign, inside a line."""
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    return before.kind == "comma" and after is not None and after.kind == "site" and "sign" in after.flags


def _repeat(token: Token, before: list[Token]) -> Token:
    """`clonus x3` counts beats; `2+ x2` says both sides and `2+ x4` all limbs."""
    if _counts_beats(before):
        return token
    times = token.written.text if isinstance(token.written, Count) else ""
    if times == "2":
        return replace(token, kind="side", meaning="both", written=None)
    if times == "4":
        return replace(token, kind="region", meaning="all_limbs:both", flags=_ALL_FOUR, written=None)
    return replace(token, kind="other", written=None)


def _counts_beats(before: list[Token]) -> bool:
    """Whether clonus is spoken of right before, with nothing between but its place: "clonus R ankle x4"."""
    for token in reversed(before[-6:]):
        if token.kind in ("clonus_word", "count") or (token.kind == "site" and "clonus" in token.meaning):
            return True
        other = token.kind == "reflex" or (token.kind == "site" and "place" not in token.flags)
        written = token.written if isinstance(token.written, Written) else Written()
        answered = written.descriptor not in (None, "present") or written.response is not None
        if other or answered or written.polarity == "negative":
            return False
    return False


def _plus_near(before: list[Token]) -> bool:
    """Whether a plus sign alone was written shortly before, so that a minus is its opposite."""
    near = [t.written for t in before[-5:] if isinstance(t.written, Written)]
    return any(written.polarity == "positive" or written.counted for written in near)


def _is_minus(text: str, before: Token, token: Token, earlier: list[Token]) -> bool:
    """Whether a dash says "negative": `L-`, `(-)`, `grasp -` at the end, `+ R, - L`."""
    after_plus = _plus_near(earlier)
    after = text[token.end : token.end + 1]
    beside = before.kind == "side" and before.end == token.start and not (after.isalnum() or after == ">")
    last = "sign" in before.flags and _ENDS_HERE.match(text, token.end) is not None
    beside = beside or (
        before.kind == "side" and after_plus and _ENDS_HERE.match(text, token.end) is not None
    )
    last = last or (
        before.kind in ("site", "reflex") and after_plus and _ENDS_HERE.match(text, token.end) is not None
    )
    to_side = _SIDE_NEXT.match(text, token.end) is not None and after_plus
    to_side = to_side or ("sign" in before.flags and _BOTH_NEXT.match(text, token.end) is not None)
    return beside or last or to_side or (before.kind == "open" and after in (")", "]"))


_Place = tuple[Entry, int, int]


def _tokens(text: str, vocabulary: Vocabulary) -> list[Token]:
    """The tokens as they are by themselves; fillers are left out."""
    lexicon = lexicon_of(vocabulary)
    places = _places(text, lexicon)
    names = [entry.normal for entry, _, _ in places]
    tokens: list[Token] = []
    index, last = 0, len(places) - 1
    while index <= last:
        entry, start, end = places[index]
        follows = entry.follows
        if not entry.careful and not (follows and index < last and names[index + 1] in follows):
            if not entry.filler:
                sense = entry.sense
                tokens.append(Token(sense.kind, start, end, sense.meaning, sense.flags, sense.written))
            index += 1
        else:
            named = bool(tokens) and tokens[-1].end == start and tokens[-1].kind in ("site", "reflex")
            token, index = _joined(text, vocabulary, lexicon, places, names, index, named)
            if token.kind != "filler":
                tokens.append(token)
    return tokens


def _places(text: str, lexicon: Lexicon) -> list[_Place]:
    """The pieces of a text that can be tokens, with their places."""
    found: list[_Place] = []
    start = 0
    for piece in PIECES.findall(text):
        end = start + len(piece)
        entry = lexicon[piece]
        if entry is not None and entry.parts:
            found += _places_of_parts(entry.parts, start, lexicon)
        elif entry is not None:
            found.append((entry, start, end))
        start = end
    return found


def _places_of_parts(parts: tuple[str, ...], start: int, lexicon: Lexicon) -> Iterator[_Place]:
    """The words of a name that is written as one, with their places."""
    for part in parts:
        entry = lexicon[part]
        if entry is not None:
            yield entry, start, start + len(part)
        start += len(part)


def _joined(
    text: str,
    vocabulary: Vocabulary,
    lexicon: Lexicon,
    places: list[_Place],
    names: list[str],
    index: int,
    named: bool,
) -> tuple[Token, int]:
    """The token at a place where a longer wording or a written value may begin, and the index after it."""
    entry, start, end = places[index]
    sense, known, after = entry.sense, entry.sense.word is not None, index + 1
    if after < len(names) and names[after] in entry.follows:
        found = _apart_from_value(text, places, vocabulary, names, index)
        if found is not None and found[1] - index > 1:
            found = _in_one_cell(text, places, vocabulary, names, index, found)
        if found is not None:
            sense, known, after = lexicon.sense(found[0]), True, found[1]
            end = places[after - 1][2]
    written = value_at(text, start, named) if entry.valued else None
    if written is not None and not (known and end > written.end):
        return written, _past(places, index, written.end)
    flags = sense.flags
    if known and any(one.misspelt for one, _, _ in places[index:after]):
        flags |= {MISSPELT}
    token = Token(sense.kind, start, end, sense.meaning, flags, sense.written)
    if sense.may_have_maximum:
        after = _with_maximum(text, token, places, after)
    return token, after


def _apart_from_value(
    text: str, places: list[_Place], vocabulary: Vocabulary, names: list[str], index: int
) -> tuple[Word, int] | None:
    """The longest wording at a word; in "right one plus", "all 3+" its last word begins a value instead."""
    found = vocabulary.words.longest(names, index)
    if found is not None and found[0].role == "side_ref" and "-" in names[index : found[1]]:
        return None  # the minus of "+R/-L" is a value
    last = names[found[1] - 1] if found is not None and found[1] - index > 1 else ""
    if found is None or not (last == "one" or last.isdigit()):
        return found
    _, start, end = places[found[1] - 1]
    value = value_at(text, start)
    runs_on = value is not None and value.end > end
    return vocabulary.words.longest(names[: found[1] - 1], index) if runs_on else found


def _in_one_cell(
    text: str,
    places: list[_Place],
    vocabulary: Vocabulary,
    names: list[str],
    index: int,
    found: tuple[Word, int],
) -> tuple[Word, int] | None:
    """A wording does not reach over a wide gap: "Motor    Reflex" are the heads of two columns."""
    for after in range(index + 1, found[1]):
        if _WIDE.match(text, places[after - 1][2], places[after][1]):
            return vocabulary.words.longest(names[:after], index)
    return found


def _past(places: list[_Place], index: int, end: int) -> int:
    """The index of the first piece that begins at or behind an end."""
    while index < len(places) and places[index][1] < end:
        index += 1
    return index


def value_at(text: str, start: int, named: bool = False) -> Token | None:
    """The written value that begins at a place; `named` where a name of a reflex touches it."""
    found = written_at(text, start, named)
    if found is None:
        return None
    value, end = found
    return Token(_KINDS[type(value)], start, end, written=value)


def _with_maximum(text: str, token: Token, places: list[_Place], index: int) -> int:
    """`nil out of four`: a word over a maximum takes it in; gives the index after it."""
    match = _OUT_OF.match(text, token.end)
    if not match or not isinstance(token.written, Written):
        return index
    maximum = 5 if _FIVE.search(match[0]) else 4
    token.written = replace(token.written, denominator=maximum)
    token.end = match.end()
    return _past(places, index, token.end)
