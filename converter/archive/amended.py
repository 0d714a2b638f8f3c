"""Applies amendments to a reading: a pure function over values.

Takes a reading as it was read and the amendments of its note; gives the reading as it stands with them.
An amendment holds for the text that the person saw, so that another text, or a reading that no longer has
those spans, leaves it aside; what is left aside is given back, never lost.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from operator import attrgetter

from converter.model import Amendment, Diagnostic, Exam, Finding, Reading, Severity, Span, Unread

NOT_APPLIED = "amendment-not-applied"
_UNREAD = "unread-wording"
_CLAIM = attrgetter(
    "site", "which", "root", "side", "kind", "grade_low", "grade_high", "scale", "descriptor", "response",
    "beats", "sustained", "negated", "status", "comparison",
)  # fmt: skip
"""What a finding claims: a rejection holds only for the claim that was rejected."""
_WHAT = attrgetter("site", "which", "side")


def amended(
    reading: Reading, amendments: Iterable[Amendment]
) -> tuple[Reading, tuple[Amendment, ...], tuple[Amendment, ...]]:
    """The reading with the amendments that stand, applied in their order; a later one sees the earlier.

    - `confirmed`, `corrected`: the finding with the same spans gives way to the person's, under its
      identifier.
    - `rejected`: that finding is left out; it stays in `Reading.amendments`.
    - `added`: the finding is put in its place, or instead of one about the same reflex and side there.
    - `no_finding`: unread wording there counts as looked at; it does not apply where a finding stands.

    Args:
        reading: as it was read, without amendments.
        amendments: those of its note; ones that were undone are passed by.

    Returns:
        The reading, the amendments that were applied, each with the identifier that its finding has there,
        and those that do not apply. Of the latter the reading has a diagnostic each.
    """
    work, applied, left = _Work(reading), list[Amendment](), list[Amendment]()
    for amendment in sorted((one for one in amendments if one.undone_at is None), key=_number):
        taken = work.take(amendment)
        if taken is None:
            left.append(amendment)
        else:
            applied.append(replace(amendment, made_on=taken or None))
    changed = work.reading(reading, applied, left) if applied or left else reading
    return changed, tuple(applied), tuple(left)


class _Work:
    """A reading while amendments are applied to it."""

    def __init__(self, reading: Reading) -> None:
        self._note_hash = reading.note_hash
        self._exams = list(reading.exams)
        self.findings = list(reading.findings)
        self.unread = list(reading.unread)

    def take(self, amendment: Amendment) -> str | None:
        """Apply an amendment; give the identifier of its finding, empty where it has none.

        None where the amendment does not apply.
        """
        if amendment.note_hash != self._note_hash:
            return None
        if amendment.verdict == "no_finding":
            return self._look_at(amendment.spans)
        if amendment.finding is None:
            return None
        if amendment.verdict == "added":
            return self._add(amendment.finding)
        place = _place_of(amendment, self.findings)
        if place is None:
            return None
        if amendment.verdict == "rejected":
            return self._reject(place, amendment.finding)
        read = self.findings[place]
        self.findings[place] = replace(
            amendment.finding, finding=read.finding, exam=read.exam, verdict=amendment.verdict
        )
        return read.finding

    def _reject(self, place: int, finding: Finding) -> str | None:
        if _CLAIM(self.findings[place]) != _CLAIM(finding):
            return None
        return self.findings.pop(place).finding

    def _add(self, finding: Finding) -> str:
        there = (
            place
            for place, one in enumerate(self.findings)
            if _WHAT(one) == _WHAT(finding) and one.start < finding.end and finding.start < one.end
        )
        place = next(there, None)
        exam = self._exam_for(finding) if place is None else self.findings[place].exam
        name = added_name(finding) if place is None else self.findings[place].finding
        new = replace(finding, finding=name, exam=exam, verdict="added")
        if place is None:
            self.findings.append(new)
            self.findings.sort(key=attrgetter("start"))
        else:
            self.findings[place] = new
        self.unread = _outside(self.unread, finding.spans)
        return name

    def _look_at(self, spans: Sequence[Span]) -> str | None:
        if any(_meet(one.spans, spans) for one in self.findings):
            return None
        self.unread = _outside(self.unread, spans)
        return ""

    def _exam_for(self, finding: Finding) -> int:
        """The exam an added finding belongs to: the one it names, else the note's own, else a new one."""
        numbers = [exam.exam for exam in self._exams]
        if finding.exam in numbers:
            return finding.exam
        own = next((exam.exam for exam in self._exams if exam.status == "current"), None)
        if own is not None:
            return own
        number = max(numbers, default=0) + 1
        self._exams.append(Exam(exam=number, status="current", start=finding.start, end=finding.end))
        return number

    def reading(self, before: Reading, applied: Sequence[Amendment], left: Sequence[Amendment]) -> Reading:
        """The reading as it stands now."""
        said = _still_said(before.diagnostics, self.unread)
        return replace(
            before,
            exams=self._exams_left(before),
            findings=tuple(self.findings),
            unread=tuple(self.unread),
            diagnostics=(*said, *(_not_applied(one) for one in left)),
            amendments=tuple(applied),
        )

    def _exams_left(self, before: Reading) -> tuple[Exam, ...]:
        """The exams, without those whose every finding was rejected."""
        had = {finding.exam for finding in before.findings}
        have = {finding.exam for finding in self.findings}
        return tuple(exam for exam in self._exams if exam.exam in have or exam.exam not in had)


def added_name(finding: Finding) -> str:
    """The identifier of an added finding: what it is about and where, apart from what the reader names."""
    what = finding.site if finding.which is None else f"{finding.site}-{finding.which}"
    return f"added-{what}-{finding.side}-{finding.start}"


def _place_of(amendment: Amendment, findings: Sequence[Finding]) -> int | None:
    """The finding that was judged: the same spans, and where several share them the same identifier."""
    wanted = _characters(amendment.spans)
    same = [place for place, one in enumerate(findings) if _characters(one.spans) == wanted]
    named = [place for place in same if findings[place].finding == amendment.made_on]
    return named[0] if named else same[0] if len(same) == 1 else None


def _characters(spans: Iterable[Span]) -> set[tuple[int, int]]:
    return {(span.start, span.end) for span in spans}


def _meet(spans: Iterable[Span], others: Sequence[Span]) -> bool:
    return any(one.start < other.end and other.start < one.end for one in spans for other in others)


def _outside(unread: Iterable[Unread], spans: Sequence[Span]) -> list[Unread]:
    return [piece for piece in unread if not any(piece.start < s.end and s.start < piece.end for s in spans)]


def _still_said(diagnostics: Iterable[Diagnostic], unread: Iterable[Unread]) -> Iterator[Diagnostic]:
    """What is doubtful still, without remarks on wording that is unread no more."""
    places = {(piece.start, piece.end) for piece in unread}
    for one in diagnostics:
        if one.code != _UNREAD or (one.start, one.end) in places:
            yield one


def _number(amendment: Amendment) -> tuple[bool, int]:
    """One that is not stored yet is the newest."""
    return amendment.number is None, amendment.number or 0


def _not_applied(amendment: Amendment) -> Diagnostic:
    spans = amendment.spans
    return Diagnostic(
        code=NOT_APPLIED,
        severity=Severity.WARNING,
        message=f"Amendment {amendment.number} ({amendment.verdict}) does not fit what is read now.",
        hint="Look at the note again, and judge it anew or undo the amendment.",
        start=min((span.start for span in spans), default=None),
        end=max((span.end for span in spans), default=None),
    )
