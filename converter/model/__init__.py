"""The nouns every package speaks: notes, findings, readings, abnormalities, amendments and diagnostics.

Frozen values without behaviour. Everything else in plexor is a function from these to these.
"""

from converter.model.abnormality import Abnormality, Assessment, NotExamined
from converter.model.amendment import VERDICTS, Amendment
from converter.model.candidates import Candidate, CandidateSet, LevelCandidate
from converter.model.course import Change, Course, CourseCell, CourseRow, Visit
from converter.model.diagnostic import Diagnostic, Severity
from converter.model.finding import Exam, Finding, Reading, Span, Unread
from converter.model.note import Note

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
