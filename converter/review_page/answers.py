"""Makes amendments of what a person answered.

Takes a question as it stands, a place and the answers; gives the Amendment to save.
"""

from collections.abc import Mapping

from converter.model import Amendment, Finding
from converter.review import Subject
from converter.review import correcting
from converter.review_page.values import GoneError, Looked, Review


def judged(looked: Looked, subject: Subject, verdict: str, review: Review) -> Amendment:
    """That a finding is right (`confirm`) or none (`reject`), or that unread wording holds none (`reject`).

    Raises:
        GoneError: the finding is not there any more, or there is none to confirm.
    """
    if subject.finding is None:
        if verdict == "confirm":
            raise GoneError("Nothing was read here, so there is nothing to confirm.")
        return _amendment(looked, subject, "no_finding", None, review)
    said = "confirmed" if verdict == "confirm" else "rejected"
    return _amendment(looked, subject, said, finding_at(looked, subject), review)


def corrected(looked: Looked, subject: Subject, answers: Mapping[str, str], review: Review) -> Amendment:
    """That a finding is right as it is given here; one that is given as it was read is confirmed.

    Raises:
        GoneError: the finding is not there any more.
        MistakesError: an answer cannot be used.
    """
    read = finding_at(looked, subject)
    finding = correcting.corrected(read, answers, looked.note, review.session.vocabulary)
    verdict = "confirmed" if finding == read else "corrected"
    return _amendment(looked, subject, verdict, finding, review, answers)


def added(looked: Looked, answers: Mapping[str, str], review: Review) -> Amendment:
    """That a finding was missed.

    Raises:
        MistakesError: an answer cannot be used.
    """
    near = answers.get("near", "")
    place = int(near) if near.isascii() and near.isdigit() and len(near) < 16 else looked.question.subjects[0].start
    exam = _exam_at(looked, place)
    finding = correcting.added(answers, looked.note, exam, place, review.session.vocabulary)
    return _amendment(looked, Subject(None, finding.spans), "added", finding, review, answers)


def finding_at(looked: Looked, subject: Subject) -> Finding:
    """The finding of a place, as it was read.

    Raises:
        GoneError: it is not there any more.
    """
    for finding in looked.reading.findings:
        if finding.finding == subject.finding:
            return finding
    raise GoneError("The note was read anew meanwhile, and this finding is not there any more.")


def _exam_at(looked: Looked, place: int) -> int:
    """The exam of the finding that stands nearest."""
    nearest = min(looked.reading.findings, key=lambda one: abs(one.start - place), default=None)
    return 1 if nearest is None else nearest.exam


def _amendment(
    looked: Looked,
    subject: Subject,
    verdict: str,
    finding: Finding | None,
    review: Review,
    answers: Mapping[str, str] | None = None,
) -> Amendment:
    remark = (answers or {}).get("remark", "").strip()
    return Amendment(
        system=looked.note.system,
        id=looked.note.id,
        note_hash=looked.note.hash,
        spans=subject.spans,
        verdict=verdict,
        finding=finding,
        made_on=subject.finding,
        by=review.by,
        at=review.now(),
        remark=remark or None,
    )
