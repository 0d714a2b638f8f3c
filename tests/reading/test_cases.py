"""Walks the readable cases of `fixtures/cases/`: every note reads to exactly the findings its table shows."""

from functools import cache
from hashlib import sha256
from pathlib import Path

import pytest
from case_files import Case, cases_in
from case_rows import differences, unread_differences
from demo_notes import demo_texts

from converter.model import Note, Reading
from converter.reading import ReadingOptions, read_note
from converter.words import shipped_vocabulary

FIXTURES = Path(__file__).parents[2] / "fixtures"
CASES = [*cases_in(FIXTURES / "cases" / "reading"), *cases_in(FIXTURES / "cases" / "demo")]


def _label(case: Case) -> str:
    return f"{case.place.partition('.')[0]}: {case.name}"


every_case = pytest.mark.parametrize("case", CASES, ids=_label)


@every_case
def test_every_case_reads_to_its_findings(case: Case) -> None:
    reading = _read(case)
    wrong = differences(case.rows, reading.findings, _text(case))
    if wrong:
        pytest.fail(_shown(case, wrong), pytrace=False)


@every_case
def test_no_case_leaves_other_words_unread(case: Case) -> None:
    reading = _read(case)
    wrong = unread_differences(case.unread, reading.unread, _text(case))
    if wrong:
        pytest.fail(_shown(case, wrong), pytrace=False)


def test_case_names_are_unique_within_their_file() -> None:
    names = [(case.place.partition(":")[0], case.name) for case in CASES]
    assert sorted(set(names)) == sorted(names)


def _text(case: Case) -> str:
    return case.note if case.note is not None else demo_texts(FIXTURES / "demo")[str(case.note_id)]


def _read(case: Case) -> Reading:
    if case.debatable:
        pytest.skip(f"debatable: {case.debatable}")
    return _reading_of(case.name, _text(case))


@cache
def _reading_of(name: str, text: str) -> Reading:
    note = Note(id=name, text=text, hash=sha256(text.encode()).hexdigest())
    return read_note(note, shipped_vocabulary(), ReadingOptions())


def _shown(case: Case, wrong: str) -> str:
    return f"{case.place} {case.name}\n\n{_text(case)}\n\n{wrong}"
