"""Reads a whole note: prefilter, tokens, layouts, sentences and rules, then scales, exams and identifiers.

Takes a Note and a Vocabulary; gives a Reading. Never raises for what a note says.
"""

from dataclasses import replace
from itertools import takewhile

from converter.model import Diagnostic, Note, Reading, Severity, Unread
from converter.model.record import SCHEMA
from converter.reading.findings import findings_of
from converter.reading.grammar.parser import TENDON_KINDS, Context, Parser
from converter.reading.grammar.parts import Draft
from converter.reading.grammar.rules import read_sentence
from converter.reading.grammar.tendons import grades_tendons
from converter.reading.layouts.walking import read_layouts
from converter.reading.lexicon import MISSPELT
from converter.reading.notation.dittos import with_dittos_read
from converter.reading.notation.explained_grades import OF_REFLEXES, with_scales_joined
from converter.reading.notation.glued_sides import with_glued_sides_parted
from converter.reading.notation.joined_sides import with_sides_joined
from converter.reading.notation.letter_names import with_letters_named, with_tendons_named
from converter.reading.notation.marks import tokens_of_note
from converter.reading.notation.plain_writing import plain_writing, with_slashed_columns
from converter.reading.notation.printed_choices import with_choices_read
from converter.reading.notation.second_names import with_second_names_taken_in
from converter.reading.notation.shared_nouns import with_nouns_shared
from converter.reading.notation.spelled_grades import with_spelled_grades
from converter.reading.options import AS_USUAL, ReadingOptions
from converter.reading.relevance.parts import Part, speaking_parts
from converter.reading.relevance.prefilter import worth_reading
from converter.reading.relevance.silence import is_silent, speaks
from converter.reading.sentences.bare_grades import graded_alone
from converter.reading.sentences.clock_lines import keep_clocks_apart
from converter.reading.sentences.dividing import Sentence, sentences_of
from converter.reading.sentences.exam_headings import (
    begin_sentence,
    has_later_heading,
    note_exam_heading,
    side_of_heading,
)
from converter.reading.sentences.footnotes import Footnotes
from converter.reading.sentences.limb_lines import note_limb
from converter.reading.sentences.runs import RUN_NAMES, lead_blocks, part_runs
from converter.reading.sentences.statuses import apply_statuses, before_today
from converter.reading.sentences.subject_headings import settle_before_layout, settle_headings
from converter.reading.tokens import Token
from converter.reading.unread import (
    free_what_no_finding_holds,
    grades_left_over,
    unknown,
    unknown_words,
    unread_of,
)
from converter.words import Vocabulary

_FAMILIES = frozenset({"unspecified", "frontal_release"})
"""Variants that stand for all primitive reflexes."""
_LINES_UNDER_A_SIDE = 12
_LONGEST_LEAD = 6
_SHORT = 200
"""Characters of a note that is read whole at once."""


def read_note(
    note: Note, vocabulary: Vocabulary, options: ReadingOptions = AS_USUAL, program: str = "plexor"
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
    if not (worth_reading(vocabulary)(note.text) and _says_something(note.text, vocabulary, options)):
        return _nothing_said(note, vocabulary, program)
    reader = _NoteReader(note.text, vocabulary, options)
    reader.read()
    findings, exams, diagnostics = findings_of(
        note.text, reader.drafts, vocabulary, options.default_scale, reader.legends
    )
    unread = sorted(reader.unread, key=lambda span: span.start)
    return replace(
        _nothing_said(note, vocabulary, program),
        exams=exams,
        findings=findings,
        unread=tuple(unread),
        diagnostics=(
            *diagnostics,
            *reader.diagnostics,
            *_misspelt(reader.drafts),
            *(_not_understood(span) for span in unread),
        ),
    )


def _nothing_said(note: Note, vocabulary: Vocabulary, program: str) -> Reading:
    return Reading(
        id=note.id,
        system=note.system,
        note_hash=note.hash,
        schema=SCHEMA,
        program=program,
        vocabulary=vocabulary.fingerprint,
    )


def _says_something(text: str, vocabulary: Vocabulary, options: ReadingOptions) -> bool:
    """Whether some part of a note says something; true too where to ask costs as much as to read it whole."""
    if len(text) < _SHORT:
        return True
    parts = speaking_parts(text, vocabulary)
    if 2 * sum(len(part.text) for part in parts) > len(text):
        return True
    return any(_part_says_something(part, vocabulary, options) for part in parts)


def _part_says_something(part: Part, vocabulary: Vocabulary, options: ReadingOptions) -> bool:
    reader = _NoteReader(part.text, vocabulary, options)
    reader.read(begins_line=part.begins_line)
    return reader.left_something


class _NoteReader:
    """Reads the sentences of one note in order, each with what the ones before left."""

    def __init__(self, text: str, vocabulary: Vocabulary, options: ReadingOptions) -> None:
        self._text = text
        self._vocabulary = vocabulary
        self._options = options
        self._context = Context(pair_order=options.pair_order)
        self._footnotes = Footnotes(text)
        self._pending: list[Token] = []
        self._has_later = False
        self.drafts: list[Draft] = []
        self.unread: list[Unread] = []
        self.legends: list[str] = []
        self.diagnostics: list[Diagnostic] = []

    @property
    def left_something(self) -> bool:
        """Whether anything was said, or what was read may give something together with what follows."""
        context = self._context
        waits = self._pending or context.reflexes or context.last or context.headed
        return bool(self.drafts or self.unread or self.diagnostics or waits)

    def read(self, *, begins_line: bool = True) -> None:
        """Read the note; drafts, unread wording, legends and diagnostics are filled in."""
        text = plain_writing(self._text)
        tokens = with_spelled_grades(text, tokens_of_note(text, self._vocabulary))
        tokens = with_nouns_shared(text, with_second_names_taken_in(tokens), self._vocabulary)
        tokens = with_letters_named(text, tokens, self._vocabulary)
        tokens = with_tendons_named(text, tokens, self._vocabulary)
        tokens = with_scales_joined(with_sides_joined(with_glued_sides_parted(text, tokens)))
        dittos = with_dittos_read(text, tokens)
        tokens = dittos.tokens
        if not dittos.unread and is_silent(self._text, tokens, self._vocabulary):
            return
        self.unread += dittos.unread
        has_now = any(token.kind == "now" for token in tokens)
        columns = with_slashed_columns(self._text)
        layouts = read_layouts(columns, tokens, self._options.figure_rows, self._context, self._vocabulary)
        for parser in layouts.parsers:
            self.drafts += parser.drafts
            self.unread += unread_of(self._text, parser.tokens)
        self.unread += [replace(u, text=self._text[u.start : u.end]) for u in layouts.unread]
        self.diagnostics += layouts.diagnostics
        left = with_choices_read(text, layouts.left)
        sentences = list(sentences_of(self._text, left, begins_line=begins_line))
        alone = graded_alone(self._text, sentences)
        self._has_later = has_later_heading(self._text, sentences, self._vocabulary)
        for index, sentence in enumerate(sentences):
            settle_before_layout(sentence, self._pending, layouts.starts)
            self._begin(sentence, has_now, graded=index in alone)
            if not self._gives_side(sentences[index : index + _LINES_UNDER_A_SIDE]):
                self._read_sentence(sentence, has_now)
        settle_before_layout(None, self._pending, layouts.starts)
        self.unread += unread_of(self._text, self._pending)
        dittos.settle(self.drafts)
        keep_clocks_apart(self._text, self.drafts)

    def _begin(self, sentence: Sentence, has_now: bool, *, graded: bool) -> None:
        """Settle what a sentence is about before it is read; `graded` where only its grades tell that."""
        if not sentence.kinds.isdisjoint(RUN_NAMES):
            part_runs(sentence.tokens)
            lead_blocks(sentence.tokens)
        begin_sentence(sentence, self._context)
        note_limb(sentence, self._context, self._vocabulary)
        note_exam_heading(
            self._text,
            sentence,
            self._context,
            self._vocabulary,
            has_now=has_now,
            has_later=self._has_later,
        )
        self._context.reflexes = self._context.reflexes or graded

    def _gives_side(self, lines: list[Sentence]) -> bool:
        """Whether a line only gives a side to the lines under it: "Reflexes, L arm:"."""
        side = side_of_heading(lines, self._vocabulary)
        if side is None:
            return False
        self._context.block_side = side
        for token in lines[0].tokens:
            self._context.reflexes = self._context.reflexes or token.kind == "reflex"
            token.used = "header"
        return True

    def _read_sentence(self, sentence: Sentence, has_now: bool) -> None:
        self._context.last_side = _last_side(sentence) or self._context.last_side
        self.unread += unknown(self._text, self._footnotes.apply(sentence.tokens, self.drafts))
        if not self._relevant(sentence):
            self._context.last = []
            return
        spoken = bool(self._context.last and self._context.reflexes)
        parser = Parser(self._text, sentence.tokens, self._context, self._vocabulary)
        self._apply_rules(parser, sentence)
        _both_for_all(parser)
        apply_statuses(parser, has_now)
        before_today(parser, [d for d in self.drafts if any(d.target is t for t in self._context.listed)])
        self.legends += [t.meaning for t in sentence.tokens if t.kind == "legend" and t.meaning]
        _drop_mere_symmetry(self.drafts, parser.drafts)
        _drop_family_heading(self._text, self.drafts, parser.drafts)
        self.drafts += parser.drafts
        free_what_no_finding_holds(sentence.tokens, self.drafts, parser.drafts)
        settle_headings(parser, self._pending)
        self._context.headed = bool(self._pending)
        self.unread += unread_of(self._text, _without_last(sentence.tokens, self._pending))
        self.unread += unknown_words(self._text, sentence.tokens, parser.drafts)
        self.unread += grades_left_over(self._text, sentence.tokens, spoken=spoken)
        self._leave(sentence, parser)

    def _relevant(self, sentence: Sentence) -> bool:
        """Whether a sentence can say anything about reflexes."""
        if self._context.reflexes or self._pending:
            return True
        if speaks(sentence.tokens):
            return True
        if sentence.kinds.isdisjoint(TENDON_KINDS):
            return False
        return grades_tendons(sentence.tokens, foreign=self._context.foreign)

    def _apply_rules(self, parser: Parser, sentence: Sentence) -> None:
        carried = _letter_for_all(self._text, sentence) or _side_of_lead(sentence.tokens)
        side = self._context.side
        self._context.side = carried or side
        read_sentence(parser, self._options.without_rules)
        if carried:
            self._context.side = side

    def _leave(self, sentence: Sentence, parser: Parser) -> None:
        """What the sentence leaves for the next one."""
        kinds = {token.kind for token in sentence.tokens}
        self._context.listed = [draft.target for draft in parser.drafts]
        if parser.drafts:
            self._context.reflexes = True
        elif "other_exam" in kinds or ("other" in kinds and "reflex" not in kinds):
            self._context.reflexes = False
            self._context.last = self._context.last if self._pending else []
        elif "reflex" in kinds or any(token.flags >= OF_REFLEXES for token in sentence.tokens):
            self._context.reflexes = True


def _both_for_all(p: Parser) -> None:
    """As in "KJ 2+ AJ 1+, all bilat", "KJ 2+, AJ 1+ - symmetrical": words that serve all without a side."""
    last = next((token for token in reversed(p.tokens) if "whole" in token.flags), p.tokens[-1])
    if "whole" not in last.flags and not _all_alike(p):
        return
    for draft in p.drafts:
        if draft.side == "unspecified" and draft.used[0][0].start < last.start:
            draft.side = "both"
            draft.used = [*draft.used, (last, "side")]
    last.used = "side"


def _without_last(tokens: list[Token], pending: list[Token]) -> list[Token]:
    """The tokens of a sentence without those that wait for a value: they stand last among those that wait."""
    waiting: set[int] = set()
    for token in reversed(pending):
        if token.start < tokens[0].start:
            break
        waiting.add(id(token))
    return [token for token in tokens if id(token) not in waiting] if waiting else tokens


def _all_alike(p: Parser) -> bool:
    """Whether the sentence ends in ", symmetrical" or ", bilaterally equal", which no rule has used."""
    end = len(p.tokens)
    while end and not p.tokens[end - 1].used and _says_alike(p.tokens[end - 1]):
        end -= 1
    tail = p.tokens[end:]
    return any(token.kind == "value" for token in tail) and p.kind(end - 1) in ("dash", "comma")


def _says_alike(token: Token) -> bool:
    symmetric = getattr(token.written, "descriptor", None) == "symmetric"
    return symmetric or token.kind == "and" or (token.kind == "side" and token.meaning == "both")


def _last_side(sentence: Sentence) -> str | None:
    if "side" not in sentence.kinds:
        return None
    for token in reversed(sentence.tokens):
        if token.kind == "side" and token.meaning in ("left", "right"):
            return token.meaning
    return None


def _letter_for_all(text: str, sentence: Sentence) -> str | None:
    """The one side letter before a list of graded reflexes, as in "L BJ 3+ TJ 3+ KJ 3+", serves them all."""
    sides = [i for i, token in enumerate(sentence.tokens) if token.kind == "side"]
    if len(sides) != 1 or "letter" not in sentence.tokens[sides[0]].flags:
        return None
    before, after = sentence.tokens[: sides[0]], sentence.tokens[sides[0] + 1 :]
    names = [token for token in after if token.kind == "site"]
    mixed = any(t.kind in ("region", "otherwise", "except", "condition") for t in sentence.tokens)
    mixed = mixed or (bool(before) and before[-1].kind in ("value", "other_exam"))
    mixed = mixed or any(t.kind in ("other", "other_exam", "reason") for t in after[1:2])
    plural = any(text[token.end - 1] == "s" and "place" in token.flags for token in names)
    if mixed or plural or len(names) < 2 or after[0].kind != "site" or any(t.kind == "site" for t in before):
        return None
    return sentence.tokens[sides[0]].meaning


def _side_of_lead(tokens: list[Token]) -> str | None:
    """As in "DTR (b/l): 2/4 biceps, 1/4 ankle": said with the noun, both sides serve them all."""
    lead = list(takewhile(lambda token: token.kind != "colon", tokens[:_LONGEST_LEAD]))
    said = [token for token in lead if token.kind not in ("open", "close", "comma")]
    kinds = [token.kind for token in said]
    ends = len(lead) < len(tokens) and tokens[len(lead)].kind == "colon"
    return "both" if ends and kinds == ["reflex", "side"] and said[1].meaning == "both" else None


def _drop_mere_symmetry(earlier: list[Draft], new: list[Draft]) -> None:
    """As in "Reflexes: symmetric; 2+ throughout" says one thing: the value, on both sides."""
    if not (earlier and new):
        return
    last, first = earlier[-1], new[0]
    mere = last.target.general and last.value is not None and last.value.descriptor == "symmetric"
    if mere and _begins_with_value(first) and (first.target.general or first.target.region):
        earlier.pop()
        first.used = [*last.used, *first.used]
        first.side = "both" if first.side == "unspecified" else first.side


def _drop_family_heading(text: str, earlier: list[Draft], new: list[Draft]) -> None:
    """As in "Newborn reflexes" over "Moro: present": the line names what follows, and finds nothing."""
    if not (earlier and new):
        return
    last, first = earlier[-1], new[0]
    bare = last.value is None and last.implied_value == "present" and last.target.which in _FAMILIES
    member = first.target.site == "primitive" and first.target.which not in _FAMILIES
    if not (bare and member):
        return
    end, start = max(t.end for t, _ in last.used), min(t.start for t, _ in first.used)
    between = text[end:start]
    if ("\n" in between or "\r" in between) and not between.strip(" \t\r\n:-*•"):
        earlier.pop()
        first.used = [*((token, "header") for token, _ in last.used), *first.used]


def _begins_with_value(draft: Draft) -> bool:
    values = [token.start for token, role in draft.used if role == "value"]
    return bool(values) and min(values) <= min(token.start for token, _ in draft.used)


def _misspelt(drafts: list[Draft]) -> list[Diagnostic]:
    """Say where a finding rests on a misspelt word."""
    used = {(t.start, t.end) for draft in drafts for t, _ in draft.used if MISSPELT in t.flags}
    return [
        Diagnostic(
            code="misspelt-word",
            severity=Severity.INFORMATION,
            message="A misspelt word was read as the known word that it comes nearest to.",
            start=start,
            end=end,
        )
        for start, end in sorted(used)
    ]


def _not_understood(span: Unread) -> Diagnostic:
    return Diagnostic(
        code="unread-wording",
        severity=Severity.INFORMATION,
        message="Reflex wording was not understood.",
        start=span.start,
        end=span.end,
    )
