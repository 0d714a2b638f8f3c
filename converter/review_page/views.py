"""What each page shows, as plain values for its template.

Takes the desk, a question and what a person is doing with it; gives dicts. The templates only lay it out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from converter.model import Amendment, Finding, Reading
from converter.review import KINDS, VERDICT_WORDS, Subject, decision_of, subjects_of
from converter.review.choices import reason_choices, reflex_choices, scale_choices, value_choices
from converter.review.sayings import SIDES, STATUSES, saying_of
from converter.review.showing import close_up, part_shown, pieces_shown
from converter.review_page.answers import EMPTY, answers_of
from converter.review_page.desk import Desk, subject_named
from converter.review_page.values import Looked, Mistake

_CARDS = 50
"""Places shown at a time; the next ones follow when these are settled."""
_LISTED = 500
"""Decisions on one page, the newest first; `plexor sql` has them all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A correction or an addition that is being written.

    Attributes:
        key: of the place that is corrected; empty for an addition.
        answers: by field.
        mistakes: what is wrong with them.
    """

    key: str
    answers: Mapping[str, str]
    mistakes: Sequence[Mistake] = ()


def common(desk: Desk, base: str, kind: str = "") -> dict[str, Any]:
    """What every page shows."""
    last = desk.last_own()
    return {
        "base": base,
        "by": desk.review.by,
        "archive": desk.review.archive.name,
        "has_text": desk.found.has_text,
        "kinds": KINDS,
        "kind": kind,
        "progress": desk.progress(),
        "last": None if last is None else last.number,
        "said": "",
        "alarm": "",
    }


def overview(desk: Desk, base: str) -> dict[str, Any]:
    """How much there is to look at, and where to begin."""
    progress = desk.progress()
    counts = dict.fromkeys(KINDS, 0)
    for question in desk.questions:
        counts[question.kind] += 1
    rows = [
        {"kind": kind, "title": title, "total": counts[kind], "left": progress.left_by_kind.get(kind, 0)}
        for kind, title in KINDS.items()
        if counts[kind]
    ]
    return common(desk, base) | {
        "rows": rows,
        "left_out": desk.found.left_out,
        "not_there": desk.found.not_there,
    }


def decisions(desk: Desk, base: str) -> dict[str, Any]:
    """The decisions in the archive, the newest first."""
    said = desk.said()
    rows = [_decision(one, desk) | {"system": one.system, "id": one.id} for one in reversed(said[-_LISTED:])]
    return common(desk, base) | {"rows": rows, "total": len(said)}


def question_page(
    desk: Desk, looked: Looked, base: str, *, kind: str, at: str, whole: bool, form: Form | None = None
) -> dict[str, Any]:
    """A question with its note.

    Args:
        desk: the desk.
        looked: the question.
        base: the address of the page.
        kind: the kind of question a person goes through, or empty for all.
        at: key of the place a person is at, or empty for the first that is open.
        whole: show all of a long note.
        form: a correction or an addition that is being written.
    """
    question = looked.question
    cards = _cards(looked, form.key if form is not None else at, desk)
    _set_current(cards, form.key if form is not None else at)
    low, high = part_shown(looked.note.text, question.subjects, whole)
    return common(desk, base, kind) | {
        "question": question,
        "title": _TITLES[question.kind],
        "number": desk.place_of(question),
        "before": desk.beside(question, -1, kind),
        "after": desk.beside(question, 1, kind),
        "note": looked.note,
        "seen": looked.seen,
        "cards": cards,
        "more": len(question.subjects) - len(cards),
        "open": [card for card in cards if card["decision"] is None],
        "others": _others(looked, desk),
        "left": [_decision(one, desk) for one in looked.left],
        "added": [_decision(one, desk) for one in looked.holding if _stands_added(one)],
        "pieces": pieces_shown(looked.note.text, looked.reading, question.subjects, (low, high)),
        "cut": (low, high) != (0, len(looked.note.text)),
        "low": low,
        "whole": whole,
        "form": None if form is None else _form(form, looked, desk),
    }


def said_of(desk: Desk, numbers: Sequence[int]) -> str:
    """One sentence about decisions that were just saved or undone."""
    found = [one for one in desk.said() if one.number in numbers]
    if not found:
        return ""
    if len(found) > 1:
        return f"Saved: {len(found)} decisions."
    told = _decision(found[0], desk)
    about = f": {told['headline']}" if told["headline"] else ""
    return f"{'Undone' if told['undone'] else 'Saved'}: {told['verdict']}{about}."


_TITLES = {
    "contradiction": "These values do not agree. Is each as the note has it?",
    "doubt": "This is doubtful. Is it as the note has it?",
    "unread": "These words were not understood. Is there a finding in them?",
    "sample": "Is this as the note has it?",
}


def _cards(looked: Looked, key: str, desk: Desk) -> list[dict[str, Any]]:
    """The places of a question; of very many those from the first that is open, or asked for."""
    subjects = looked.question.subjects
    first = 0
    if len(subjects) > _CARDS:
        chosen = [place for place, one in enumerate(subjects) if one.key == key]
        left = (place for place, one in enumerate(subjects) if decision_of(one, looked.holding) is None)
        first = (chosen or [next(left, 0)])[0]
    shown = list(enumerate(subjects, 1))[first : first + _CARDS]
    return [_card(looked, subject, number, desk) for number, subject in shown]


def _card(looked: Looked, subject: Subject, number: int, desk: Desk) -> dict[str, Any]:
    finding = _finding(looked.reading, subject)
    decision = decision_of(subject, looked.holding)
    text = looked.note.text
    unmarked = replace(looked.reading, findings=(), unread=())
    return {
        "key": subject.key,
        "number": number,
        "current": False,
        "saying": None if finding is None else saying_of(finding, desk.review.session.vocabulary),
        "place": f"{subject.start} to {subject.end}",
        "words": text[subject.start : subject.end],
        "close": pieces_shown(text, unmarked, (subject,), close_up(text, subject)),
        "decision": None if decision is None else _decision(decision, desk),
    }


def _set_current(cards: Sequence[dict[str, Any]], key: str) -> None:
    chosen = [card for card in cards if card["key"] == key]
    still_open = [card for card in cards if card["decision"] is None]
    (chosen or still_open or list(cards))[0]["current"] = True


def _others(looked: Looked, desk: Desk) -> list[dict[str, Any]]:
    asked = {subject.key for subject in looked.question.subjects}
    rest = [one for one in subjects_of(looked.reading).values() if one.key not in asked]
    nearest = sorted(rest, key=lambda one: abs(one.start - looked.question.subjects[0].start))[:_CARDS]
    shown = sorted(nearest, key=lambda one: one.start)
    return [_card(looked, subject, number, desk) for number, subject in enumerate(shown, 1)]


def _finding(reading: Reading, subject: Subject) -> Finding | None:
    same = (one for one in reading.findings if one.finding == subject.finding)
    return None if subject.finding is None else next(same, None)


def _stands_added(amendment: Amendment) -> bool:
    return amendment.verdict == "added" and amendment.undone_at is None


def _decision(amendment: Amendment, desk: Desk) -> dict[str, Any]:
    finding = amendment.finding
    words = desk.review.session.vocabulary
    return {
        "number": amendment.number,
        "verdict": VERDICT_WORDS[amendment.verdict],
        "sign": _SIGNS[amendment.verdict],
        "headline": "" if finding is None else saying_of(finding, words).headline,
        "quote": "" if finding is None else finding.quote,
        "by": amendment.by,
        "at": moment(amendment.at),
        "fits": desk.fits(amendment),
        "undone": ""
        if amendment.undone_at is None
        else f"{amendment.undone_by}, {moment(amendment.undone_at)}",
    }


def moment(instant: str) -> str:
    """An ISO 8601 instant as people read it."""
    return instant.replace("T", " ").replace("Z", " UTC")


_SIGNS = {
    "confirmed": "\u2713",
    "corrected": "\u270e",
    "rejected": "\u2715",
    "added": "+",
    "no_finding": "\u2013",
}


def _form(form: Form, looked: Looked, desk: Desk) -> dict[str, Any]:
    words = desk.review.session.vocabulary
    finding = _finding(looked.reading, subject_named(looked, form.key)) if form.key else None
    blank = EMPTY if finding is None else answers_of(finding, words)
    return {
        "key": form.key,
        "saying": None if finding is None else saying_of(finding, words),
        "answers": {**blank, **form.answers},
        "mistakes": list(form.mistakes),
        "wrong": {mistake.field: mistake.sentence for mistake in form.mistakes},
        "places": next((mistake.places for mistake in form.mistakes if mistake.places), ()),
        "reflexes": reflex_choices(words, finding),
        "sides": SIDES,
        "values": value_choices(words),
        "own_kind": "stretch" if finding is None else finding.kind,
        "scales": scale_choices(words),
        "statuses": STATUSES,
        "reasons": reason_choices(words),
    }


def is_settled(looked: Looked) -> bool:
    """Whether no place of a question is open."""
    return all(decision_of(subject, looked.holding) for subject in looked.question.subjects)
