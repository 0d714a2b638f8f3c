"""The candidates for a place in the body as values, for those who want more than the sentence."""

from converter.assess.candidates import candidate_sets
from converter.assess.exam_view import view_of
from converter.assess.options import AssessOptions
from converter.assess.upper_level import level_candidates
from converter.model import Note, Reading
from converter.model.candidates import CandidateSet, LevelCandidate
from converter.words import Vocabulary


def candidates_of(
    reading: Reading, note: Note, vocabulary: Vocabulary, options: AssessOptions | None = None
) -> tuple[CandidateSet, ...]:
    """Roots and nerves that would explain the reduced reflexes, for each limb of each current exam."""
    settings = options or AssessOptions()
    return tuple(
        found
        for exam in reading.exams
        if exam.status != "historical"
        for found in candidate_sets(view_of(exam.exam, reading.findings, note, vocabulary, settings))
    )


def levels_of(
    reading: Reading, note: Note, vocabulary: Vocabulary, options: AssessOptions | None = None
) -> tuple[LevelCandidate, ...]:
    """The levels at or above which the increased reflexes point, for each current exam."""
    settings = options or AssessOptions()
    return tuple(
        found
        for exam in reading.exams
        if exam.status != "historical"
        for found in level_candidates(view_of(exam.exam, reading.findings, note, vocabulary, settings))
    )
