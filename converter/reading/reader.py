"""Reads a whole note: prefilter, tokens, sentences, rules, then scales, exams and identifiers.

Takes a Note and a Vocabulary; gives a Reading. Never raises for what a note says.
"""

import re
from dataclasses import dataclass

from converter.model import Diagnostic, Note, Reading, Severity, Unread
from converter.model.record import SCHEMA
from converter.reading.findings import findings_of
from converter.reading.grammar.parser import Context, Parser, grades_tendons
from converter.reading.grammar.parts import Draft
from converter.reading.grammar.rules import read_sentence
from converter.reading.layouts import read_tables
from converter.reading.prefilter import may_speak_of_reflexes
from converter.reading.sentences import Sentence, sentences_of
from converter.reading.statuses import apply_statuses
from converter.reading.tokens import Token, tokens_of_note
from converter.reading.unread import unread_of
from converter.words import Vocabulary

_DATE = re.compile(
    r"\b\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\b|\b\d{4}-\d{2}-\d{2}\b|\b\d{1,2}\s+(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
    r"|\b(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\s+\d{1,2}\b",
    re.IGNORECASE,
)


_SPEAKING = frozenset({"trigger", "testing", "toes", "plantars"})


@dataclass(frozen=True, slots=True)
class ReadingOptions:
    """How a site writes.

    Attributes:
        default_scale: the scale that reads grades where the note names none, or None for the bedside scale.
        pair_order: `right-left` or `left-right`, for pairs without a header.
        without_rules: names of grammar rules to leave out; for tests.
    """

    default_scale: str | None = None
    pair_order: str = "right-left"
    without_rules: frozenset[str] = frozenset()


def read_note(
    note: Note, vocabulary: Vocabulary, options: ReadingOptions = ReadingOptions(), program: str = "plexor"
) -> Reading:
    """Read one note.

    Args:
        note: the note.
        vocabulary: words, scales and reflexes.
        options: how the site writes.
        program: name and version, for the record.

    Returns:
        Everything said about reflexes, with its place in the note.
    """
    drafts: list[Draft] = []
    unread: list[Unread] = []
    legends: list[str] = []
    if may_speak_of_reflexes(vocabulary)(note.text):
        drafts, unread, legends = _read(note.text, vocabulary, options)
    findings, exams, diagnostics = findings_of(note.text, drafts, vocabulary, options.default_scale, legends)
    return Reading(
        id=note.id,
        system=note.system,
        note_hash=note.hash,
        schema=SCHEMA,
        program=program,
        vocabulary=vocabulary.fingerprint,
        exams=exams,
        findings=findings,
        unread=tuple(unread),
        diagnostics=(*diagnostics, *(_unread_diagnostic(span) for span in unread)),
    )


def _read(
    text: str, vocabulary: Vocabulary, options: ReadingOptions
) -> tuple[list[Draft], list[Unread], list[str]]:
    context = Context(pair_order=options.pair_order)
    drafts: list[Draft] = []
    unread: list[Unread] = []
    legends: list[str] = []
    pending: list[Token] = []
    all_tokens = tokens_of_note(text, vocabulary)
    has_now = any(token.kind == "now" for token in all_tokens)
    tables, tokens = read_tables(text, all_tokens, context, vocabulary)
    table_starts = [table.tokens[0].start for table in tables]
    for table in tables:
        drafts += table.drafts
        unread += unread_of(text, table.tokens)
    for sentence in sentences_of(text, tokens):
        _before_table(sentence, pending, table_starts)
        _begin(sentence, context)
        _exam_heading(text, sentence, context, has_now)
        if not _relevant(sentence, context, pending):
            _end_irrelevant(sentence, context)
            continue
        parser = Parser(text, sentence.tokens, context, vocabulary)
        side, context.side = context.side, _letter_for_all(text, sentence) or context.side
        read_sentence(parser, options.without_rules)
        context.side = side if _letter_for_all(text, sentence) else context.side
        apply_statuses(parser, has_now)
        legends += [token.meaning for token in sentence.tokens if token.kind == "legend" and token.meaning]
        _drop_mere_symmetry(drafts, parser.drafts)
        drafts += parser.drafts
        _headings(parser, pending)
        unread += unread_of(text, [token for token in sentence.tokens if token not in pending])
        _end(sentence, context, parser)
    if any(pending[-1].start < start for start in table_starts if pending):
        pending.clear()
    unread += unread_of(text, pending)
    return drafts, unread, legends


def _relevant(sentence: Sentence, context: Context, pending: list[Token]) -> bool:
    """Whether a sentence can say anything about reflexes."""
    if context.reflexes or pending:
        return True
    return any(
        token.flags & _SPEAKING or token.kind in ("legend", "side_ref") for token in sentence.tokens
    ) or grades_tendons(sentence.tokens, context)


def _end_irrelevant(sentence: Sentence, context: Context) -> None:
    context.last = []
    context.last_side = _last_side(sentence) or context.last_side


def _last_side(sentence: Sentence) -> str | None:
    sides = [t.meaning for t in sentence.tokens if t.kind == "side" and t.meaning in ("left", "right")]
    return sides[-1] if sides else None


def _headings(p: Parser, pending: list[Token]) -> None:
    """A reflex noun without a value heads what follows: in its own sentence, or as its last word in the next.

    A noun that heads nothing stays unused, and so becomes unread.
    """
    if pending:
        if p.drafts and p.tokens[0].used:
            p.mark([(token, "header") for token in pending])
            pending.clear()
    for index, token in enumerate(p.tokens):
        if token.used or "trigger" not in token.flags or token.kind not in ("reflex", "site", "region"):
            continue
        after = p.skip(index + 1, "colon", "dash", "open", "close", "side_ref", "equals", "comma", "bullet")
        if after >= len(p.tokens):
            pending.append(token)
        elif p.tokens[after].used or p.kind(after) in ("at", "region", "side"):
            if any(min(t.start for t, _ in draft.used) > token.start for draft in p.drafts):
                token.used = "header"


def _before_table(sentence: Sentence, pending: list[Token], table_starts: list[int]) -> None:
    """A heading right before a table is the table's."""
    if pending and any(pending[-1].start < start < sentence.tokens[0].start for start in table_starts):
        for token in pending:
            token.used = "header"
        pending.clear()


def _drop_mere_symmetry(earlier: list[Draft], new: list[Draft]) -> None:
    """ "Reflexes: symmetric; 2+ throughout" says one thing: the value, on both sides."""
    if not (earlier and new) or new[0].used[0][1] != "value" and new[0].used[0][1] != "region":
        return
    last, first = earlier[-1], new[0]
    mere = last.target.general and last.value is not None and last.value.descriptor == "symmetric"
    value_first = (
        min(token.start for token, role in first.used if role == "value")
        <= min(token.start for token, _ in first.used)
        if first.value is not None
        else False
    )
    if mere and value_first and (first.target.general or first.target.region):
        earlier.pop()
        first.used = [*last.used, *first.used]
        if first.side == "unspecified":
            first.side = "both"


def _letter_for_all(text: str, sentence: Sentence) -> str | None:
    """ "L BJ 3+ TJ 3+ KJ 3+": the one side letter before a list of graded reflexes serves all of them."""
    sides = [i for i, token in enumerate(sentence.tokens) if token.kind == "side"]
    if len(sides) != 1 or "letter" not in sentence.tokens[sides[0]].flags:
        return None
    after = sentence.tokens[sides[0] + 1 :]
    before = sentence.tokens[: sides[0]]
    names = [token for token in after if token.kind == "site"]
    mixed = any(token.kind in ("region", "otherwise", "except", "condition") for token in sentence.tokens)
    plural = any(text[token.end - 1] == "s" and "place" in token.flags for token in names)
    if mixed or plural or len(names) < 2 or after[0].kind != "site" or any(t.kind == "site" for t in before):
        return None
    return sentence.tokens[sides[0]].meaning


def _begin(sentence: Sentence, context: Context) -> None:
    """Forget what a heading or a new part of the note ends."""
    context.region = None
    if sentence.heading:
        context.reflexes = False
        context.side = None
        context.status = "historical" if sentence.history else "current"
        context.last = []
    context.foreign = sentence.heading or (context.foreign and not sentence.new_block)
    if sentence.new_line and not _leads_on(sentence.tokens[0]):
        context.side = None
    if not sentence.heading and not _leads_on(sentence.tokens[0]) and not sentence.new_line:
        context.reflexes = context.reflexes and sentence.tokens[0].kind not in ("other", "other_exam")


def _exam_heading(text: str, sentence: Sentence, context: Context, has_now: bool) -> None:
    """A heading that opens a quoted earlier exam, or today's: "Previous examination", "Exam of 3 March:"."""
    if not sentence.new_line and not sentence.heading:
        lead_end = next((i for i, t in enumerate(sentence.tokens[:5]) if t.kind == "colon"), None)
        if lead_end is None:
            return
    colon = next((i for i, t in enumerate(sentence.tokens[:8]) if t.kind == "colon"), None)
    lead = sentence.tokens[:colon] if colon is not None else sentence.tokens
    if colon is None and (sentence.closed or {t.kind for t in lead} - {"past", "now"}):
        return
    kinds = {token.kind for token in lead}
    if kinds & {"site", "reflex", "condition", "pair"} or any(
        t.kind == "value" and not _bare(t) for t in lead
    ):
        return
    past = [t for t in lead if t.kind == "past" and (has_now or "dated" not in t.flags)]
    dated = has_now and _DATE.search(text, lead[0].start, lead[-1].end) is not None if lead else False
    if "now" in kinds:
        context.status, context.stated_time = "current", None
    elif past or dated:
        context.status = "historical"
        context.stated_time = text[lead[0].start : lead[-1].end]
    elif lead and (sentence.heading or colon is None) and not kinds & {"side", "region"}:
        if context.stated_time is not None and sentence.new_line:
            context.status, context.stated_time = "current", None


def _bare(token: Token) -> bool:
    return bool(getattr(token.written, "bare", False))


def _leads_on(token: Token) -> bool:
    return token.kind in (
        "site",
        "side",
        "region",
        "value",
        "pair",
        "at",
        "anaphor",
        "reflex",
        "bullet",
        "dash",
    )


def _end(sentence: Sentence, context: Context, parser: Parser) -> None:
    context.last_side = _last_side(sentence) or context.last_side
    if parser.drafts:
        context.reflexes = True
        return
    kinds = {token.kind for token in sentence.tokens}
    if kinds & {"other_exam"} or ("other" in kinds and not kinds & {"reflex"}):
        context.reflexes = False
        context.last = []
    elif kinds & {"reflex"}:
        context.reflexes = True


def _unread_diagnostic(span: Unread) -> Diagnostic:
    return Diagnostic(
        code="unread-wording",
        severity=Severity.INFORMATION,
        message="Reflex wording was not understood.",
        start=span.start,
        end=span.end,
    )
