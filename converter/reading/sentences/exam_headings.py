"""Tells by headings which exam the sentences after them belong to: today's, or a quoted earlier one.

Takes a sentence and what the note said before; changes the context for what follows.
"""

import re
from itertools import takewhile

from converter.reading.grammar.parser import Context
from converter.reading.grammar.tendons import grades_tendons
from converter.reading.sentences.dividing import Sentence, colon_among_first
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

_MONTH = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DATE = re.compile(
    rf"\b\d{{1,2}}[./-]\d{{1,2}}[./-]\d{{2,4}}\b|\b\d{{4}}-\d{{2}}-\d{{2}}\b|\b\d{{1,2}}\s+(?:{_MONTH})"
    rf"|\b(?:{_MONTH})[a-z]*\s+\d{{1,2}}\b",
    re.IGNORECASE,
)
_STRONG = 4
_SIDE_AND_COLON = 2
_NO_HEADING = frozenset({"site", "reflex", "condition", "pair"})
_IN_HEADINGS = frozenset({"reflex", "side", "region"})
_MARKS_OF_HEADINGS = frozenset({"comma", "colon", "open", "close", "dash", "bullet"})
_BESIDE_TIMES = re.compile(r"[():\[\]–—,]|(?<!\w)-|\b(?:exam(?:ination)?|reflexes|dtrs|jerks)\b")
_IN_DATES = frozenset({"other", "slash", "stop"})
_LONGEST_DATE = 5
_LEADS_ON = frozenset(
    {"site", "side", "region", "value", "pair", "at", "anaphor", "reflex", "bullet", "dash"}
)


def begin_sentence(sentence: Sentence, context: Context) -> None:
    """Forget what a heading or a new part of the note ends."""
    first = sentence.tokens[0]
    context.region = None
    if sentence.heading:
        context.reflexes = False
        context.block_side = None
        context.status = "historical" if sentence.history else "current"
        context.last = []
    foreign = sentence.heading and not _graded_under(sentence)
    context.foreign = foreign or (context.foreign and not (sentence.new_block or sentence.heading))
    if (sentence.new_line and first.kind not in _LEADS_ON) or sentence.new_block:
        context.block_side = None
    alone = sentence.new_line and len(sentence.tokens) == _SIDE_AND_COLON
    if alone and [token.kind for token in sentence.tokens] == ["side", "colon"]:
        context.block_side = first.meaning if first.meaning in ("left", "right") else None
    context.side = context.block_side
    if first.kind not in _LEADS_ON and not (sentence.new_line or sentence.heading):
        context.reflexes = context.reflexes and first.kind not in ("other", "other_exam")


def _graded_under(sentence: Sentence) -> bool:
    """As in "Day 1 after fusion: biceps 2+, triceps 1+": tendons graded as only reflexes are.

    A 4 or more may be a grade of strength, so it says nothing.
    """
    grades = [
        t.written.high
        for t in sentence.tokens
        if isinstance(t.written, Written) and t.written.high is not None
    ]
    return not sentence.history and max(grades, default=_STRONG) < _STRONG and grades_tendons(sentence.tokens)


def side_of_heading(lines: list[Sentence], vocabulary: Vocabulary) -> str | None:
    """The side that a line such as "Reflexes, L arm:" gives to the lines under it, which name reflexes.

    Args:
        lines: the sentence that may be such a line, and those after it.
        vocabulary: tells the limb of a reflex.
    """
    if not (lines[0].new_line and lines[0].kinds <= _IN_HEADINGS | _MARKS_OF_HEADINGS):
        return None
    heading = [t for t in lines[0].tokens if t.kind not in _MARKS_OF_HEADINGS]
    sides = [t.meaning if t.kind == "side" else t.meaning.partition(":")[2] for t in heading]
    named = [side for side in sides if side in ("left", "right")]
    if len(named) != 1:
        return None
    limbs = {vocabulary.reflexes[t.meaning.partition(":")[0]].limb for t in heading if t.kind == "region"}
    under = list(takewhile(_names_a_site, lines[1:]))
    sites = [
        token.meaning.partition(":")[0] for line in under for token in line.tokens if token.kind == "site"
    ]
    if any({vocabulary.reflexes[site].limb} - {None} - limbs for site in sites if limbs):
        return None
    return named[0] if under else None


def _names_a_site(line: Sentence) -> bool:
    """Whether a line begins with the name of a reflex."""
    first = next((token for token in line.tokens if token.kind not in _MARKS_OF_HEADINGS), None)
    return line.new_line and not line.new_block and first is not None and first.kind == "site"


def note_exam_heading(
    text: str, sentence: Sentence, context: Context, vocabulary: Vocabulary, *, has_now: bool, has_later: bool
) -> None:
    """Take note of a heading such as "Previous examination", "Exam of 3 March:" or "Today:".

    Args:
        text: the note.
        sentence: the sentence that may begin with such a heading.
        context: changed for what follows.
        vocabulary: words for times.
        has_now: the note speaks of today somewhere, so a dated exam is an earlier one.
        has_later: another heading says "after" or "today", so one that says "before" is of an earlier exam.
    """
    lead = _lead(text, sentence, vocabulary)
    if not lead:
        if context.status == "historical" and _begins_now(sentence):
            context.status, context.stated_time = "current", None
        return
    past = [t for t in lead if t.kind == "past" and (has_now or "dated" not in t.flags)]
    dated = has_now and _DATE.search(text, lead[0].start, lead[-1].end) is not None
    order = _order(text, lead, vocabulary)
    if any(token.kind == "now" for token in lead) or order == "now":
        context.status, context.stated_time = "current", None
    elif past or dated or (has_later and order == "earlier"):
        context.status = "historical"
        context.stated_time = text[lead[0].start : lead[-1].end]
    elif order == "later":
        context.status, context.stated_time = "current", None
    elif sentence.heading and sentence.new_line and not {t.kind for t in lead} & {"side", "region"}:
        context.stated_time = None


def _begins_now(sentence: Sentence) -> bool:
    """As in "Previous exam: DTRs 2+. Today KJ absent": a sentence about now ends what was then."""
    first = next((token for token in sentence.tokens if token.kind not in _MARKS_OF_HEADINGS), None)
    return first is not None and first.kind == "now"


def has_later_heading(text: str, sentences: list[Sentence], vocabulary: Vocabulary) -> bool:
    """Whether a heading of a note says "after", "post-op" or "today"."""
    return any(
        _order(text, lead, vocabulary) in ("later", "now")
        for sentence in sentences
        if sentence.new_line and (lead := _lead(text, sentence, vocabulary))
    )


def _order(text: str, lead: list[Token], vocabulary: Vocabulary) -> str:
    """The place among others of a heading of nothing but a time: earlier, later, now, or empty."""
    words = _DATE.sub(" ", text[lead[0].start : lead[-1].end]).lower()
    said = " ".join(_BESIDE_TIMES.sub(" ", words).split())
    cells = vocabulary.cells
    orders = {"earlier": cells.earlier, "later": cells.later, "now": cells.now}
    return next((order for order, known in orders.items() if said in known), "")


def _lead(text: str, sentence: Sentence, vocabulary: Vocabulary) -> list[Token]:
    """The tokens of a heading: up to its colon, or the whole of a line that names nothing but a time."""
    tokens = sentence.tokens
    colon = colon_among_first(tokens)
    if colon is None:
        alone = sentence.new_line and not sentence.closed
        time = alone and (_says_only_time(tokens) or _order(text, tokens, vocabulary))
        return tokens if time else []
    lead = tokens[:colon]
    if not (sentence.new_line or sentence.heading or colon <= 4):
        return []
    graded = any(t.kind == "value" and not getattr(t.written, "bare", False) for t in lead)
    return [] if graded or any(t.kind in _NO_HEADING for t in lead) else lead


def _says_only_time(tokens: list[Token]) -> bool:
    """Whether a line names nothing but a time, as in "Today", "09/06/2024 (today)", "12 Mar - previous"."""
    said = [t for t in tokens if t.kind not in _MARKS_OF_HEADINGS | _IN_DATES]
    numbers = [t for t in tokens if t.kind in _IN_DATES]
    told = bool(said) and all(t.kind in ("past", "now") for t in said)
    return told and (not numbers or len(numbers) <= _LONGEST_DATE)
