"""The nouns every package speaks: notes, findings, readings, abnormalities, amendments and diagnostics.

Frozen values without behaviour. Everything else in plexor is a function from these to these.
"""

from typing import TYPE_CHECKING

from converter.lazily import names_of
from converter.model.diagnostic import Diagnostic, Severity
from converter.model.finding import Exam, Finding, Reading, Span, Unread
from converter.model.note import Note

if TYPE_CHECKING:
    from converter.model.abnormality import Abnormality, Assessment, NotExamined
    from converter.model.amendment import VERDICTS, Amendment
    from converter.model.candidates import Candidate, CandidateSet, LevelCandidate
    from converter.model.course import Change, Course, CourseCell, CourseRow, Visit

__all__ = [
    "VERDICTS",
    "Abnormality",
    "Amendment",
    "Assessment",
    "Candidate",
    "CandidateSet",
    "Change",
    "Course",
    "CourseCell",
    "CourseRow",
    "Diagnostic",
    "Exam",
    "Finding",
    "LevelCandidate",
    "NotExamined",
    "Note",
    "Reading",
    "Severity",
    "Span",
    "Unread",
    "Visit",
]

__getattr__ = names_of(
    __name__,
    {
        "abnormality": ("Abnormality", "Assessment", "NotExamined"),
        "amendment": ("VERDICTS", "Amendment"),
        "candidates": ("Candidate", "CandidateSet", "LevelCandidate"),
        "course": ("Change", "Course", "CourseCell", "CourseRow", "Visit"),
    },
)
