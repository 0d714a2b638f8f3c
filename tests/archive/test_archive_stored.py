"""What was loaded comes back as it was: a law over any note, reading and assessment."""

from dataclasses import fields
from pathlib import Path
from typing import Any

from archive_notes import VOCABULARY, full_item, load_all, new_archive, note, read
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.archive import NoteKey, open_archive, stored_readings
from converter.model import (
    Abnormality,
    Assessment,
    Diagnostic,
    Exam,
    Finding,
    Note,
    NotExamined,
    Reading,
    Severity,
    Span,
    Unread,
)

WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
OFFSETS = st.integers(0, 10**7)
MAYBE = st.none() | WORDS


def values(noun: Any, /, **given: Any) -> Any:
    """Values of a dataclass: every field any words or None, but for those given."""
    plain = {field.name: given.get(field.name, MAYBE) for field in fields(noun)}
    return st.builds(noun, **plain)


DIAGNOSTICS = values(
    Diagnostic, code=WORDS, severity=st.sampled_from(Severity), message=WORDS,
    start=st.none() | OFFSETS, end=st.none() | OFFSETS, line=st.none() | OFFSETS,
)  # fmt: skip
GRADES = st.none() | st.floats(-4, 9, allow_nan=False)
FINDINGS = values(
    Finding, finding=WORDS, exam=st.integers(1, 3), site=st.sampled_from(sorted(VOCABULARY.reflexes)),
    side=st.sampled_from(["left", "right", "both", "unspecified"]), kind=WORDS, grade_low=GRADES,
    grade_high=GRADES, plus=WORDS, denominator=st.none() | st.integers(0, 9),
    sustained=st.none() | st.booleans(),
    negated=st.booleans(), status=WORDS, certainty=WORDS, start=OFFSETS, end=OFFSETS, quote=WORDS,
    spans=st.lists(st.builds(Span, OFFSETS, OFFSETS, WORDS), max_size=3).map(tuple),
)  # fmt: skip
SOME_WORDS = st.lists(WORDS, max_size=3).map(tuple)
ABNORMALITIES = values(
    Abnormality, abnormality=WORDS, exam=st.integers(1, 3), rule=WORDS, code=WORDS, sites=SOME_WORDS,
    side=WORDS,
    size=GRADES, certainty=WORDS, sentence=WORDS, rests_on=SOME_WORDS, source=WORDS, modifiers=SOME_WORDS,
)  # fmt: skip
GAPS = values(NotExamined, site=WORDS, side=WORDS, reason=WORDS)
ASSESSMENTS = st.builds(
    Assessment,
    exam=st.integers(1, 3),
    abnormalities=st.lists(ABNORMALITIES, max_size=2).map(tuple),
    not_examined=st.lists(GAPS, max_size=2).map(tuple),
    diagnostics=st.lists(DIAGNOSTICS, max_size=2).map(tuple),
    caution=WORDS,
)
EXAMS = values(Exam, exam=st.integers(1, 9), status=WORDS, start=OFFSETS, end=OFFSETS)
UNREAD = values(Unread, start=OFFSETS, end=OFFSETS, text=WORDS, why=WORDS)
NOTES = values(
    Note, id=WORDS, text=WORDS, hash=WORDS, age=st.none() | st.integers(0, 120), line=st.none() | OFFSETS,
    origin=st.lists(st.tuples(OFFSETS, OFFSETS, OFFSETS), max_size=3).map(tuple),
)  # fmt: skip


@st.composite
def items(draw: st.DrawFn) -> tuple[Note, Reading, tuple[Assessment, ...]]:
    about = draw(NOTES)
    reading = Reading(
        id=about.id,
        system=about.system,
        note_hash=about.hash,
        schema=draw(WORDS),
        program=draw(WORDS),
        vocabulary=draw(WORDS),
        exams=tuple(draw(st.lists(EXAMS, max_size=3, unique_by=lambda exam: exam.exam))),
        findings=tuple(draw(st.lists(FINDINGS, max_size=3))),
        unread=tuple(draw(st.lists(UNREAD, max_size=2))),
        diagnostics=tuple(draw(st.lists(DIAGNOSTICS, max_size=2))),
    )
    return about, reading, tuple(draw(st.lists(ASSESSMENTS, max_size=2)))


@given(st.lists(items(), min_size=1, max_size=6, unique_by=lambda item: (item[0].system, item[0].id)))
@settings(max_examples=12, deadline=None)
def test_what_was_loaded_comes_back_as_it_was(tmp_path_factory: Any, loaded: list[Any]) -> None:
    with new_archive(tmp_path_factory.mktemp("law"), *loaded) as archive:
        assert list(stored_readings(archive)) == loaded


def test_the_full_note_comes_back(tmp_path: Path) -> None:
    with new_archive(tmp_path, full_item()) as archive:
        assert list(stored_readings(archive)) == [full_item()]


def test_wanted_notes_come_back_in_the_order_asked_for(tmp_path: Path) -> None:
    loaded = [read(note(f"n{number}")) for number in range(4)]
    with new_archive(tmp_path, *loaded) as archive:
        keys = [NoteKey(None, name) for name in ("n3", "nowhere", "n0", "n3")]
        assert [about.id for about, _, _ in stored_readings(archive, keys)] == ["n3", "n0", "n3"]


def test_only_current_readings_come_back(tmp_path: Path) -> None:
    with open_archive(tmp_path / "a.duckdb") as archive:
        load_all(archive, [read(note("n1", "KJ 2+"))])
        load_all(archive, [read(note("n1", "KJ 3+"))], "run-2")
        assert [about.text for about, _, _ in stored_readings(archive)] == ["KJ 3+"]
