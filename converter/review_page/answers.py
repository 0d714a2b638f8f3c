"""Makes amendments of what a person answered.

Takes a question as it stands, a place and the answers; gives the Amendment to save, or what is wrong with
which answer. What a value means, `judging` says by the reader's own tables; nothing unanswered is made up.
"""

from collections.abc import Mapping
from dataclasses import replace

from converter.judging import JudgingError, Told, added_finding, corrected_finding, value_in_words
from converter.model import Amendment, Finding, Span
from converter.review import Subject
from converter.review.choices import reflex_code
from converter.review.places import places_of
from converter.review.showing import as_in_note, visible
from converter.review_page.values import GoneError, Looked, Mistake, MistakesError, Review
from converter.words import Vocabulary

EMPTY = {
    "reflex": "", "side": "", "value": "", "scale": "", "status": "current", "certainty": "stated",
    "reason": "", "words": "", "near": "", "remark": "",
}  # fmt: skip
"""The answers of an empty form."""

_VALUE = "Give the value as a note would write it: 2+, absent, upgoing."


def answers_of(finding: Finding, vocabulary: Vocabulary) -> dict[str, str]:
    """The answers that describe a finding as it is."""
    return EMPTY | {
        "reflex": reflex_code(finding),
        "side": finding.side,
        "value": value_in_words(finding, vocabulary),
        "scale": finding.scale or "",
        "status": finding.status,
        "certainty": finding.certainty,
        "reason": finding.reason or "",
        "words": visible(" ".join(finding.quote.split())),
        "near": str(finding.start),
    }


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


def corrected(looked: Looked, subject: Subject, given: Mapping[str, str], review: Review) -> Amendment:
    """That a finding is right as it is given here; one that is given as it was read is confirmed.

    Raises:
        GoneError: the finding is not there any more.
        MistakesError: an answer cannot be used.
    """
    read = finding_at(looked, subject)
    before = answers_of(read, review.session.vocabulary)
    answers = before | {name: answer.strip() for name, answer in given.items()}
    mistakes = _choices(answers)
    finding = _told_anew(read, before, answers, review, mistakes)
    if looked.note.text and answers["words"].split() != before["words"].split():
        finding = _moved(finding, _place(looked, answers, mistakes), looked)
    if mistakes:
        raise MistakesError(mistakes)
    finding = _with_manner(finding, read, before, answers)
    return _amendment(
        looked, subject, "confirmed" if finding == read else "corrected", finding, review, answers
    )


def added(looked: Looked, given: Mapping[str, str], review: Review) -> Amendment:
    """That a finding was missed.

    Raises:
        MistakesError: an answer cannot be used.
    """
    answers = EMPTY | {name: answer.strip() for name, answer in given.items()}
    mistakes = _choices(answers)
    if not answers["reflex"]:
        mistakes.append(Mistake("reflex", "Choose the reflex."))
    if not answers["value"] and answers["status"] != "not_tested":
        mistakes.append(Mistake("value", _VALUE))
    spans = _place(looked, answers, mistakes)
    if mistakes:
        raise MistakesError(mistakes)
    told = Told(
        site=answers["reflex"],
        side=answers["side"],
        value=answers["value"] or None,
        status=answers["status"],
        scale=answers["scale"] or None,
    )
    try:
        exam = _exam_at(looked, spans[0].start)
        finding = added_finding(told, spans, looked.note.text, review.session, exam)
    except JudgingError as error:
        raise MistakesError([_not_understood(error)]) from None
    finding = _with_manner(finding, None, EMPTY, answers)
    return _amendment(looked, Subject(None, spans), "added", finding, review, answers)


def finding_at(looked: Looked, subject: Subject) -> Finding:
    """The finding of a place, as it was read.

    Raises:
        GoneError: it is not there any more.
    """
    for finding in looked.reading.findings:
        if finding.finding == subject.finding:
            return finding
    raise GoneError("The note was read anew meanwhile, and this finding is not there any more.")


def _choices(answers: Mapping[str, str]) -> list[Mistake]:
    mistakes = []
    if not answers["side"]:
        mistakes.append(Mistake("side", "Choose a side; where the note names none, “side not stated”."))
    if answers["certainty"] not in ("stated", "uncertain"):
        mistakes.append(Mistake("certainty", "Say whether the note is sure."))
    return mistakes


def _told_anew(
    read: Finding,
    before: Mapping[str, str],
    answers: Mapping[str, str],
    review: Review,
    mistakes: list[Mistake],
) -> Finding:
    """The finding with the answers that differ from what was read."""
    words = review.session.vocabulary
    new = {name: answers[name] for name in ("reflex", "side", "value", "status", "scale")}
    changed = {name: answer for name, answer in new.items() if answer != before[name]}
    other_kind = words.reflexes.get(answers["reflex"].partition(":")[0])
    if "reflex" in changed and other_kind is not None and other_kind.kind != read.kind:
        changed["value"] = answers["value"]
    if changed.get("value") == "" and answers["status"] != "not_tested":
        mistakes.append(Mistake("value", _VALUE))
    told = Told(
        site=changed.get("reflex"),
        side=changed.get("side"),
        value=changed.get("value"),
        status=changed.get("status"),
        scale=changed.get("scale") or (answers["scale"] if "value" in changed and read.scale else None),
    )
    if told.says_nothing:
        return read
    try:
        return corrected_finding(read, told, review.session)
    except JudgingError as error:
        mistakes.append(_not_understood(error))
        return read


def _with_manner(
    finding: Finding, read: Finding | None, before: Mapping[str, str], answers: Mapping[str, str]
) -> Finding:
    """The finding with its doubt and its reason, and with the value only as the note itself writes it."""
    if answers["certainty"] != before["certainty"]:
        finding = replace(finding, certainty=answers["certainty"])
    if answers["reason"] != before["reason"]:
        finding = replace(finding, reason=answers["reason"] or None)
    if read is not None and finding.as_written == read.as_written:
        return finding
    written = " ".join((finding.as_written or "").split())
    if written and written in " ".join(finding.quote.split()):
        return finding
    return replace(finding, as_written=None if read is None else read.as_written)


def _place(looked: Looked, answers: Mapping[str, str], mistakes: list[Mistake]) -> tuple[Span, ...]:
    """The place of the words that were given; where they stand several times a person says which."""
    if not looked.note.text:
        mistakes.append(Mistake("words", "The archive keeps no text, so no words can be pointed at."))
        return ()
    near = answers["near"]
    close = int(near) if near.isascii() and near.isdigit() and len(near) < 16 else 0
    found = places_of(looked.note.text, as_in_note(answers["words"]), close)
    chosen = [place for place in found if str(place.start) == answers.get("where")]
    chosen = chosen or [place for place in found if near and place.start == close] or found[:2]
    if not chosen:
        mistakes.append(Mistake("words", "Give the words of the note that say this, as they stand there."))
        return ()
    if len(chosen) > 1:
        sentence = f"These words stand {len(found)} times in the note. Choose the place."
        mistakes.append(Mistake("words", sentence, tuple(found)))
    return (Span(chosen[0].start, chosen[0].end, "value"),)


def _moved(finding: Finding, spans: tuple[Span, ...], looked: Looked) -> Finding:
    if not spans:
        return finding
    start, end = spans[0].start, spans[0].end
    return replace(finding, spans=spans, start=start, end=end, quote=looked.note.text[start:end])


def _not_understood(error: JudgingError) -> Mistake:
    said = str(error)
    return Mistake("value", f"{said[:1].upper()}{said[1:]}.")


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
        remark=(answers or {}).get("remark") or None,
    )
