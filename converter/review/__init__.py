"""Helps a team look over what was read: what to look at, the note with its marks, and what changed.

Takes notes and readings, or their records; gives plain values to show, and questions to a person. Leaves
reading to `reading`, keeping the answers to `archive`, and how it looks to `cli` and `review_page`.
"""

from converter.review.changes import ChangedFinding, Changes, changes_between
from converter.review.decisions import VERDICT_WORDS, decision_of, is_open, settles
from converter.review.marking import MARKS, Piece, pieces_of
from converter.review.questions import (
    KINDS,
    Question,
    Subject,
    questions_of,
    questions_of_left,
    sample_question,
    subjects_of,
    unread_subject,
)
from converter.review.records import read_records
from converter.review.unread import UnreadWording, unread_wordings

__all__ = [
    "KINDS",
    "MARKS",
    "VERDICT_WORDS",
    "ChangedFinding",
    "Changes",
    "Piece",
    "Question",
    "Subject",
    "UnreadWording",
    "changes_between",
    "decision_of",
    "is_open",
    "pieces_of",
    "questions_of",
    "questions_of_left",
    "read_records",
    "sample_question",
    "settles",
    "subjects_of",
    "unread_subject",
    "unread_wordings",
]
