"""What one judged note says about words: which rows of a word list would have made the reader right.

Takes a note, its reading, and the reading as persons have it; gives rows to try, each with what has to come
out of the note. It guesses; whether a row does what it should is tried out by `suggesting`.
"""

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from converter.model import Finding, Note, Reading, Span
from converter.reading.notation.marks import tokens_of_note
from converter.reading.tokens import Token
from converter.words import Vocabulary, Word
from converter.words.phrases import wordings

_ALIKE = 0.84
_SHORT = 4
_STATUS = {"historical": "past", "hypothetical": "if", "family": "family", "not_tested": "untested"}
_TELL_NOTHING = frozenset({"side", "value", "response", "no", "is", "at", "and", "but", "with", "filler"})
"""What stands beside any reflex, so that it cannot tell a rejected finding from one."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a word list that may help.

    Attributes:
        phrase, role, meaning, flags: as in the file; no role where only a person can tell.
        why: what speaks for it.
        why_not: what is said where no such row helps.
    """

    phrase: str
    role: str
    meaning: str = ""
    flags: str = ""
    why: str = ""
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One note that speaks for a row.

    Attributes:
        note: the note.
        place: the characters that were judged.
        wanted: the finding that has to come out; None where there is to be none.
        unread: whether it is enough that the wording there is understood.
        judged: whether a person judged the place; where not, what is read beside it may change.
    """

    note: Note
    place: tuple[int, int]
    wanted: Finding | None = None
    unread: bool = False
    judged: bool = True

    def satisfied(self, reading: Reading) -> bool:
        """Whether a reading of the note is as it should be."""
        if self.unread:
            return not any(_meets((piece.start, piece.end), self.place) for piece in reading.unread)
        found = [one for one in reading.findings if self.concerns(one)]
        if self.wanted is None:
            return not found
        return any(_says(one) == _says(self.wanted) for one in found)

    def concerns(self, finding: Finding) -> bool:
        """Whether a finding stands at the place that was judged."""
        return not self.unread and any(_meets((one.start, one.end), self.place) for one in finding.spans)


def evidence_of(
    note: Note, before: Reading, after: Reading, vocabulary: Vocabulary
) -> Iterator[tuple[tuple[Row, ...], Evidence]]:
    """What a judged note says: rows to try, the most careful first, and what has to come out.

    Args:
        note: with its text.
        before: as it was read.
        after: with the amendments that apply.
        vocabulary: the words that count now.
    """
    tokens = tokens_of_note(note.text, vocabulary)
    now = {finding.finding: finding for finding in after.findings}
    was = {finding.finding: finding for finding in before.findings}
    for amendment in after.amendments:
        place = _hull(amendment.spans)
        name = amendment.made_on or ""
        if amendment.verdict in ("added", "corrected") and name in now:
            inside = [token for token in tokens if _meets((token.start, token.end), place)]
            phrase = _unknown(note, inside)
            if phrase:
                rows = tuple(_for_finding(phrase, now[name], was.get(name), inside, amendment.verdict))
                yield rows, Evidence(note, place, wanted=now[name])
        elif amendment.verdict == "rejected":
            for phrase in _around(note, tokens, place):
                yield _look_alike(phrase, "rejected by a person"), Evidence(note, place)
        elif amendment.verdict == "no_finding":
            phrase = _words(note.text[place[0] : place[1]])
            if phrase and any(_meets((piece.start, piece.end), place) for piece in before.unread):
                yield _nothing(phrase), Evidence(note, place, unread=True)


def unread_evidence(note: Note, reading: Reading) -> Iterator[tuple[Row, Evidence]]:
    """Unread wording of a note that nobody has judged: what it means, only a person can tell."""
    for piece in reading.unread:
        phrase = _words(piece.text) or " ".join(piece.text.lower().split())
        place = (piece.start, piece.end)
        yield Row(phrase, "", why_not="not understood"), Evidence(note, place, unread=True, judged=False)


def alike_rows(phrase: str, vocabulary: Vocabulary) -> Iterator[Row]:
    """A row for wording that is written nearly like a known one; short wordings are too alike by chance."""
    every = _every_wording(vocabulary)
    plain = len(phrase) > _SHORT and _words(phrase)
    close = difflib.get_close_matches(phrase, every, n=1, cutoff=_ALIKE) if plain else []
    for wording in close:
        row = every[wording]
        flags = " ".join(sorted(row.flags - {"override"}))
        why = f"not judged; written nearly like {wording}"
        yield Row(phrase, row.role, row.meaning, flags, why, "not understood")


def _for_finding(
    phrase: str, now: Finding, was: Finding | None, kinds: Sequence[Token], verdict: str
) -> Iterator[Row]:
    """Rows that may make the reader find it: first what the known words there leave open."""
    why = f"{verdict} by a person"
    not_so = f"{why}, but no single word explains it"
    named = any(one.meaning.partition(":")[0] == now.site for one in kinds)
    told = any(one.kind in ("side", "pair") for one in kinds)
    valued = any(one.kind in ("value", "pair", "count", "response") for one in kinds)
    roles: list[tuple[str, str, str]] = []
    if not named and (was is None or was.site != now.site):
        site = f"{now.site}:{now.which}" if now.which else now.site
        flags = ("short joint", "short trigger") if len(phrase) <= _SHORT else ("joint", "trigger")
        roles += [("site", site, one) for one in flags]
    if not valued:
        roles += [("value", now.descriptor, "")] if now.descriptor else []
        roles += [("response", now.response, "")] if now.response else []
    if not told and now.side in ("left", "right", "both") and (was is None or was.side != now.side):
        roles += [("side", now.side, "")]
    if was is not None and now.status != was.status and now.status in _STATUS:
        roles += [(_STATUS[now.status], "", "")]
    for role, meaning, flag in [*roles, ("filler", "", "")]:
        yield Row(phrase, role, meaning, flag, why, not_so)


def _nothing(phrase: str) -> tuple[Row, ...]:
    why = "no finding, by a person"
    not_so = f"{why}, but it is still not understood with a row for it"
    return (
        Row(phrase, "filler", "", "", why, not_so),
        Row(phrase, "look_alike", "not_a_reflex", "", why, not_so),
    )


def _look_alike(phrase: str, why: str) -> tuple[Row, ...]:
    return (
        Row(phrase, "look_alike", "not_a_reflex", "", why, f"{why}, but this wording alone is not the cause"),
    )


@lru_cache(maxsize=4)
def _every_wording(vocabulary: Vocabulary) -> dict[str, Word]:
    return {wording: row for row in vocabulary.rows for wording in wordings(row.phrase) if wording}


def _unknown(note: Note, inside: Sequence[Token]) -> str:
    """The first words there that the vocabulary does not know, as one wording."""
    run: list[Token] = []
    for token in inside:
        if token.kind == "other" and note.text[token.start].isalpha():
            run.append(token)
        elif run:
            break
    return _words(note.text[run[0].start : run[-1].end]) if run else ""


def _around(note: Note, tokens: Sequence[Token], place: tuple[int, int]) -> Iterator[str]:
    """The name in a rejected finding with the words before or after it, which may tell it from a reflex."""
    names = [
        at
        for at, token in enumerate(tokens)
        if token.kind in ("site", "reflex") and _meets((token.start, token.end), place)
    ]
    for at in names[:1]:
        for first, last in ((at, at + 1), (at - 1, at), (at - 1, at + 1)):
            if first >= 0 and last < len(tokens):
                text = note.text[tokens[first].start : tokens[last].end]
                phrase = _words(text)
                beside = [one for one in tokens[first : last + 1] if one is not tokens[at]]
                if phrase and "\n" not in text and all(one.kind not in _TELL_NOTHING for one in beside):
                    yield phrase


def _words(text: str) -> str:
    """A wording as a word list has it, or nothing where it is no plain words."""
    words = text.lower().split()
    return " ".join(words) if words and all(word.replace("-", "").isalpha() for word in words) else ""


def _says(finding: Finding) -> object:
    value = (finding.grade_low, finding.grade_high, finding.descriptor, finding.response, finding.beats)
    return (finding.site, finding.which, finding.side, *value, finding.negated, finding.status)


def _hull(spans: Sequence[Span]) -> tuple[int, int]:
    return min(span.start for span in spans), max(span.end for span in spans)


def _meets(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[0] < other[1] and other[0] < one[1]
