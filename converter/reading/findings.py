"""Turns drafts into findings: what a value means for its kind of reflex, its scale, exam and identifier.

Takes the drafts of a whole note in order; gives findings, exams and diagnostics.
"""

from collections import Counter
from dataclasses import dataclass, field, fields
from typing import Any

from converter.model import Diagnostic, Exam, Finding, Severity, Span
from converter.model.record import plain_number
from converter.reading.grammar.parts import Details, Draft
from converter.reading.meaning import Meaning, meaning_of
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Scale, Vocabulary

_MANNER = tuple(each.name for each in fields(Details) if each.name != "uncertain")
_LONG_VALUE = 40
_ROLES = {"doubt": "assertion", "earlier": "assertion"}
"""Parts a word plays for the rules only, and what they are to a reader of the finding."""
_ANCHOR_ROLES = ("site", "region", "header", "value")


@dataclass(slots=True)
class _Exams:
    """Numbers the exams of a note: the current one, then one for each other time that is stated."""

    numbers: dict[str, int] = field(default_factory=dict)

    def number(self, draft: Draft, text: str) -> int:
        """The number of the exam that a draft belongs to."""
        return self.numbers.setdefault(_exam_key(draft, text), len(self.numbers) + 1)


@dataclass(frozen=True, slots=True)
class _Graded:
    """A grade read by its scale; empty where there is none, or where the scale does not hold it."""

    low: float | None = None
    high: float | None = None
    scale: Scale | None = None
    basis: str | None = None


def findings_of(
    text: str, drafts: list[Draft], vocabulary: Vocabulary, default_scale: str | None, legends: list[str]
) -> tuple[tuple[Finding, ...], tuple[Exam, ...], tuple[Diagnostic, ...]]:
    """Findings, exams and diagnostics of a note.

    Args:
        text: the note.
        drafts: what the rules found, in order.
        vocabulary: scales, descriptors and reflexes.
        default_scale: the site's scale, or None.
        legends: scales that legends in the note name.
    """
    exams = _Exams()
    if any(_exam_key(draft, text) == "current" for draft in drafts):
        exams.numbers["current"] = 1
    diagnostics: list[Diagnostic] = []
    seen: Counter[str] = Counter()
    found = []
    for draft in sorted(drafts, key=_start):
        meaning = meaning_of(draft, vocabulary.reflexes[draft.target.site].kind)
        scale, basis = _scale(draft, meaning, vocabulary, default_scale, legends)
        graded = _Graded(meaning.low, meaning.high, scale, basis) if meaning.low is not None else _Graded()
        if scale is not None and graded.low is not None and not _holds(scale, meaning):
            diagnostics.append(_off_scale(text, draft, scale))
            graded = _Graded()
        found.append(
            _finding(
                text, draft, meaning, graded, vocabulary, exams.number(draft, text), _identifier(draft, seen)
            )
        )
    return tuple(found), _exams(exams, found), (*diagnostics, *_mixed_plus(found))


def _finding(
    text: str,
    draft: Draft,
    meaning: Meaning,
    graded: _Graded,
    vocabulary: Vocabulary,
    exam: int,
    identifier: str,
) -> Finding:
    target = draft.target
    kind = vocabulary.reflexes[target.site].kind
    spans = _spans(draft)
    start, end = min(span.start for span in spans), max(span.end for span in spans)
    return Finding(
        finding=identifier,
        exam=exam,
        site=target.site,
        which=target.which if target.which != "flexor_named" else None,
        root=target.root,
        side=draft.side,
        kind=kind,
        level=None if _compares(draft) else _level(meaning, graded, kind, vocabulary),
        descriptor=meaning.descriptor,
        response=meaning.response,
        negated=meaning.negated,
        status=draft.status,
        certainty="uncertain" if draft.details.uncertain or meaning.uncertain else "stated",
        reason=draft.reason,
        as_written=_as_written(text, draft),
        spans=spans,
        start=start,
        end=end,
        quote=text[start:end],
        **_grade(draft, meaning, graded),
        **_manner(draft),
    )


def _compares(draft: Draft) -> bool:
    """Whether a value only compares: "brisker on the left" says nothing of high or low, but "absent" does."""
    said = draft.value is not None and (draft.value.graded or draft.value.descriptor == "absent")
    return not said and "_than_" in (draft.details.comparison or "")


def _grade(draft: Draft, meaning: Meaning, graded: _Graded) -> dict[str, Any]:
    """The fields that hold a grade and the scale that reads it."""
    value = draft.value
    worded = "word" if meaning.descriptor or meaning.response else None
    return {
        "grade_low": plain_number(graded.low),
        "grade_high": plain_number(graded.high),
        "grade_basis": "number" if graded.low is not None else worded,
        "plus": value.plus if value is not None and graded.low is not None else "none",
        "denominator": value.denominator if value is not None else None,
        "scale": graded.scale.scale if graded.scale is not None else None,
        "scale_basis": graded.basis,
    }


def _manner(draft: Draft) -> dict[str, Any]:
    """The fields that say how a reflex was elicited and what else was seen."""
    return {name: getattr(draft.details, name) for name in _MANNER}


def _start(draft: Draft) -> tuple[int, int]:
    spans = [(token.start, token.end) for token, role in draft.used if role in ("site", "region", "header")]
    return min(spans or [(token.start, token.end) for token, _ in draft.used])


def _spans(draft: Draft) -> tuple[Span, ...]:
    return tuple(
        sorted(
            {
                Span(token.start, token.end, _ROLES.get(role, role) or "detail")
                for token, role in draft.used
                if role != "denied"
            },
            key=lambda span: (span.start, span.end, span.role),
        )
    )


def _as_written(text: str, draft: Draft) -> str | None:
    """The words that carry the value; of "2+ and symmetric" the grade."""
    values = sorted((t for t, role in draft.used if role == "value"), key=lambda token: token.start)
    telling = [token for token in values if _tells(token, draft)] or values
    if not telling:
        return None
    whole = text[telling[0].start : telling[-1].end]
    return whole if len(whole) <= _LONG_VALUE else " ".join(text[t.start : t.end] for t in telling)


def _tells(token: Token, draft: Draft) -> bool:
    """Whether a token says the value that the finding took, and not a weaker one beside it."""
    written, value = token.written, draft.value
    if value is None or not isinstance(written, Written):
        return True
    if value.graded:
        return written.graded or written.descriptor == "trace"
    return (written.descriptor, written.response) == (value.descriptor, value.response)


def _identifier(draft: Draft, seen: Counter[str]) -> str:
    anchor = next(
        (
            token.start
            for role in _ANCHOR_ROLES
            for token, used_as in sorted(draft.used, key=lambda used: used[0].start)
            if used_as == role
        ),
        min(token.start for token, _ in draft.used),
    )
    name = draft.target.site if not draft.target.which else f"{draft.target.site}-{draft.target.which}"
    identifier = f"{name}-{draft.side}-{anchor}"
    seen[identifier] += 1
    return identifier if seen[identifier] == 1 else f"{identifier}-{seen[identifier]}"


def _scale(
    draft: Draft, meaning: Meaning, vocabulary: Vocabulary, default_scale: str | None, legends: list[str]
) -> tuple[Scale | None, str | None]:
    """The scale of a grade: a legend or a denominator decides, else the site's own, else the bedside one."""
    if meaning.low is None or draft.value is None:
        return None, None
    if legends:
        return vocabulary.scales[legends[-1]], "legend"
    if draft.value.denominator is not None:
        scales = vocabulary.scales.values()
        return next(scale for scale in scales if scale.denominator == draft.value.denominator), "denominator"
    if draft.value.counted:
        return vocabulary.scales["plus-count"], "assumed"
    if default_scale is not None:
        return vocabulary.scales[default_scale], "site_default"
    return vocabulary.scales["bedside"], "assumed"


def _holds(scale: Scale, meaning: Meaning) -> bool:
    low, high = meaning.low, meaning.high
    return low is not None and high is not None and scale.holds(low) and scale.holds(high)


def _off_scale(text: str, draft: Draft, scale: Scale) -> Diagnostic:
    spans = _spans(draft)
    written = _as_written(text, draft)
    return Diagnostic(
        code="off-scale",
        severity=Severity.WARNING,
        message=f"The grade {written} does not exist on the scale {scale.scale}: kept as written, not coded.",
        start=min(span.start for span in spans),
        end=max(span.end for span in spans),
    )


def _level(meaning: Meaning, graded: _Graded, kind: str, vocabulary: Vocabulary) -> str | None:
    if graded.low is not None and graded.high is not None and graded.scale is not None:
        return graded.scale.level(graded.low, graded.high)
    if meaning.descriptor is None or meaning.negated:
        return None
    if kind == "clonus":
        return "clonus" if meaning.descriptor == "present" else None
    if kind in ("stretch", "superficial") and meaning.descriptor in vocabulary.descriptors:
        return vocabulary.descriptors[meaning.descriptor].level
    return None


def _exam_key(draft: Draft, text: str) -> str:
    if draft.status != "historical":
        clocks = [text[token.start : token.end].lower() for token, _ in draft.used if token.kind == "clock"]
        return f"current {clocks[0]}" if clocks else "current"
    said = [text[token.start : token.end].lower() for token, _ in draft.used if token.kind == "past"]
    return f"historical {said[0] if said else ''}"


def _exams(exams: _Exams, found: list[Finding]) -> tuple[Exam, ...]:
    built = []
    for key, number in exams.numbers.items():
        own = [finding for finding in found if finding.exam == number]
        status, _, stated = key.partition(" ")
        built.append(
            Exam(
                exam=number,
                status=status,
                stated_time=stated or None,
                start=min(finding.start for finding in own),
                end=max(finding.end for finding in own),
            )
        )
    return tuple(built)


def _mixed_plus(found: list[Finding]) -> list[Diagnostic]:
    """Say where one exam writes both `2` and `2+`: some examiners mean a half step by the plus."""
    diagnostics = []
    for exam in sorted({finding.exam for finding in found}):
        graded = [f for f in found if f.exam == exam and f.grade_low is not None and f.scale != "plus-count"]
        signs = {f.plus for f in graded if f.grade_low not in (0, None)}
        if len(signs & {"none", "trailing"}) == 2:
            diagnostics.append(
                Diagnostic(
                    code="mixed-plus",
                    severity=Severity.WARNING,
                    message="Grades stand with and without a plus; a plus alone makes no sure difference.",
                    start=min(f.start for f in graded),
                    end=max(f.end for f in graded),
                )
            )
    return diagnostics
