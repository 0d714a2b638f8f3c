"""Which amendment settles which place, and how far a person has come.

Takes places to judge and the amendments of their note; gives the one that settles a place. Applying them to a
reading belongs to `archive`.
"""

from collections.abc import Iterable, Sequence

from converter.model import Amendment
from converter.review.questions import Question, Subject, characters

_OF_FINDINGS = frozenset({"confirmed", "corrected", "rejected"})

VERDICT_WORDS = {
    "confirmed": "Confirmed",
    "corrected": "Corrected",
    "rejected": "Rejected",
    "added": "Added",
    "no_finding": "No finding here",
}
"""What a person calls each verdict."""


def decision_of(subject: Subject, amendments: Iterable[Amendment]) -> Amendment | None:
    """The last standing amendment that settles a place, or None where it is open.

    Args:
        subject: the place.
        amendments: those of its note and text, in the order of their numbers; undone ones are passed by.
    """
    settled = None
    for amendment in amendments:
        if amendment.undone_at is None and settles(amendment, subject):
            settled = amendment
    return settled


def is_open(question: Question, amendments: Sequence[Amendment]) -> bool:
    """Whether any place of a question is not settled yet."""
    return any(decision_of(subject, amendments) is None for subject in question.subjects)


def settles(amendment: Amendment, subject: Subject) -> bool:
    """Whether an amendment of the same note and text is about this place."""
    if amendment.verdict == "added":
        return _added_there(amendment, subject)
    if subject.finding is None:
        return amendment.verdict == "no_finding" and _meet(amendment, subject)
    same = characters(amendment.spans) == characters(subject.spans)
    named = subject.alone or amendment.made_on == subject.finding
    return amendment.verdict in _OF_FINDINGS and same and named


def _added_there(amendment: Amendment, subject: Subject) -> bool:
    """An added finding settles unread wording, and the finding of that reflex and side that it replaces."""
    added = amendment.finding
    if subject.finding is None or added is None:
        return _meet(amendment, subject)
    overlaps = subject.start < added.end and added.start < subject.end
    return overlaps and (added.site, added.which, added.side) == subject.what


def _meet(amendment: Amendment, subject: Subject) -> bool:
    return any(
        one.start < other.end and other.start < one.end for one in amendment.spans for other in subject.spans
    )
