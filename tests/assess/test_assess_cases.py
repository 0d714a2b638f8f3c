"""Walks the readable cases of `fixtures/cases/assess/`, among them the published cases with their sources."""

from collections.abc import Iterable

import pytest
from assess_cases import Case, cases_in
from assess_findings import VOCABULARY

from converter.assess import assess_reading, candidates_of, levels_of
from converter.assess.segments import number_of
from converter.model import Abnormality, Assessment, LevelCandidate
from converter.reading import read_note

CASES = cases_in()
every_case = pytest.mark.parametrize("case", CASES, ids=[f"{case.place} {case.name}" for case in CASES])


def _assessed(case: Case) -> Assessment:
    return assess_reading(case.reading(), case.note(), VOCABULARY)[0]


@every_case
def test_finds_exactly_what_the_case_lists(case: Case) -> None:
    assert _listed(_assessed(case).abnormalities) == sorted(case.listed("Found"))


@every_case
def test_the_invented_note_reads_to_the_same(case: Case) -> None:
    if "Reader" in case.lines:
        pytest.skip(case.lines["Reader"])
    read = read_note(case.note(), VOCABULARY)
    found = [a for each in assess_reading(read, case.note(), VOCABULARY) for a in each.abnormalities]
    assert _listed(found) == sorted(case.listed("Found"))


@every_case
def test_candidates_hold_what_the_case_names(case: Case) -> None:
    candidates = {
        f"{candidate.kind} {candidate.name} {each.side}"
        for each in candidates_of(case.reading(), case.note(), VOCABULARY)
        for candidate in each.candidates
    }
    assert set(case.listed("Candidates")) <= candidates
    assert not candidates & set(case.listed("No candidates"))


@every_case
def test_the_stated_level_fits(case: Case) -> None:
    levels = levels_of(case.reading(), case.note(), VOCABULARY)
    if "No level" in case.lines:
        assert not levels
    for segment in case.listed("Level"):
        assert any(_fits(level, segment) for level in levels)


@every_case
def test_notes_of_the_case_are_given(case: Case) -> None:
    given = {diagnostic.code for diagnostic in _assessed(case).diagnostics}
    assert set(case.listed("Notes")) <= given
    assert not given & set(case.listed("No notes"))


@every_case
def test_a_case_names_its_source(case: Case) -> None:
    assert case.lines.get("Source"), case.place
    assert "Found" in case.lines, case.place


def _listed(found: Iterable[Abnormality]) -> list[str]:
    return sorted(f"{a.code} {a.side}{'?' if a.certainty == 'uncertain' else ''}" for a in found)


def _fits(level: LevelCandidate, segment: str) -> bool:
    """The segment is at or above the lowest one that fits, or one of the reduced segments."""
    return segment in level.reduced_at or number_of(segment) <= number_of(level.at_or_above)
