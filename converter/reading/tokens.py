"""Turns the text of a note into the tokens of the grammar.

Takes the text and the vocabulary; gives tokens with their place, what they are to the grammar (`kind`) and
what they mean. Words that the vocabulary does not know become `other`. Leaves sense to the grammar.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from converter.reading.lexicon import MISSPELT, PIECES, Entry, Lexicon, lexicon_of
from converter.reading.relevance.stems import PLAIN
from converter.reading.written import Count, Pair, Run, Written, written_at
from converter.words import Vocabulary, Word

_KINDS: dict[type, str] = {Written: "value", Pair: "pair", Count: "count", Run: "run"}
_OUT_OF = re.compile(r"\s?(?:out\s+of|of|/)\s*\+?(?:[45]|IV|V|four|five)\+?(?!\w)", re.IGNORECASE)
_WIDE = re.compile(r"[ \u00a0]*(?:\t|[ \u00a0]{3})")
_GAPS = re.compile(r"\S {2,}(?=\S)")
_FEWEST_GAPS, _LINE = 3, 400
_FIVE = re.compile(r"5|five|(?<!I)V", re.IGNORECASE)


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


_Place = tuple[Entry, int, int]


def tokens_by_themselves(text: str, vocabulary: Vocabulary) -> list[Token]:
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
        if _parts_cells(text, places[after - 1][2], places[after][1]):
            return vocabulary.words.longest(names[:after], index)
    return found


def _parts_cells(text: str, start: int, end: int) -> bool:
    """Whether a gap parts two cells: a wide one, or two blanks in a line with more of such gaps."""
    if _WIDE.match(text, start, end):
        return True
    if text[start:end] != "  ":
        return False
    before = text.rfind("\n", max(0, start - _LINE), start) + 1 or max(0, start - _LINE)
    behind = text.find("\n", end, end + _LINE)
    line = text[before : behind if behind >= 0 else end + _LINE]
    return len(_GAPS.findall(line)) >= _FEWEST_GAPS


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
