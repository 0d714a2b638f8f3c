"""Helps a team look over what was read: the note with its marks, unread wording counted, and what changed.

Takes notes and readings, or their records; gives plain values to show. Leaves reading to `reading` and how
it looks on a terminal to `cli`.
"""

from converter.review.changes import ChangedFinding, Changes, changes_between
from converter.review.marking import MARKS, Piece, pieces_of
from converter.review.records import read_records
from converter.review.unread import UnreadWording, unread_wordings

__all__ = [
    "MARKS",
    "ChangedFinding",
    "Changes",
    "Piece",
    "UnreadWording",
    "changes_between",
    "pieces_of",
    "read_records",
    "unread_wordings",
]
