"""Findings written in shorthand read back to the same findings."""

from hashlib import sha256
from pathlib import Path

import pytest
from case_files import Case, cases_in
from demo_notes import demo_texts
from hypothesis import given, settings
from hypothesis import strategies as st
from shorthand_findings import VOCABULARY, any_finding, essence, finding

from converter.model import Finding, Note
from converter.reading import read_note
from converter.reading.shorthand import shorthand_of
from converter.words import Vocabulary, load_vocabulary

FIXTURES = Path(__file__).parents[2] / "fixtures"
CASES = [*cases_in(FIXTURES / "cases" / "reading"), *cases_in(FIXTURES / "cases" / "demo")]
TEXTS = demo_texts(FIXTURES / "demo")


def read(text: str, vocabulary: Vocabulary = VOCABULARY) -> tuple[Finding, ...]:
    return read_note(Note(id="n", text=text, hash=sha256(text.encode()).hexdigest()), vocabulary).findings


def essences(findings: tuple[Finding, ...] | list[Finding]) -> list[str]:
    return sorted(str(essence(one)) for one in findings)


@settings(max_examples=400, deadline=None)
@given(st.lists(any_finding(), min_size=1, max_size=6))
def test_written_findings_read_back_to_themselves(findings: list[Finding]) -> None:
    written = shorthand_of(findings, VOCABULARY)
    assert not written.left_out
    assert essences(read(written.text)) == essences(findings), written.text


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.place)
def test_what_a_case_reads_to_survives_writing(case: Case) -> None:
    findings = read(case.note if case.note is not None else TEXTS[str(case.note_id)])
    written = shorthand_of(findings, VOCABULARY)
    assert not written.left_out
    assert essences(read(written.text)) == essences(findings), written.text


@settings(max_examples=50, deadline=None)
@given(st.lists(any_finding(), min_size=1, max_size=4))
def test_writing_again_gives_the_same_line(findings: list[Finding]) -> None:
    once = shorthand_of(findings, VOCABULARY).text
    assert shorthand_of(read(once), VOCABULARY).text == once


@pytest.mark.parametrize(
    ("said", "written"),
    [
        (finding("patellar", "stretch", "right", grade_low=2, grade_high=2, plus="trailing"), "R KJ 2+"),
        (finding("achilles", "stretch", "both", descriptor="absent", level="absent"), "bilat AJ absent"),
        (
            finding("achilles", "stretch", "left", status="not_tested", reason="cast"),
            "L AJ not tested due to cast",
        ),
        (finding("ankle_clonus", "clonus", "right", descriptor="present", beats="3"), "R ankle clonus x3"),
        (finding("hoffmann", "stretch", "left", descriptor="absent", negated=True), "no L Hoffmann"),
        (finding("plantar", "plantar", "right", response="extensor"), "R plantar response extensor"),
        (
            finding("patellar", "stretch", "left", comparison="greater_than_other_side"),
            "KJ L>R",
        ),
    ],
)
def test_the_marks_are_those_that_clinicians_write(said: Finding, written: str) -> None:
    # common practice, no source
    assert shorthand_of([said], VOCABULARY).text == written


def test_what_has_no_mark_is_left_out_and_given_back() -> None:
    strange = finding("patellar", "stretch", "left", descriptor="brisk", comparison="greater_than_other_limb")
    plain = finding("patellar", "stretch", "right", descriptor="brisk")
    written = shorthand_of([strange, plain], VOCABULARY)
    assert (written.text, written.left_out) == ("R KJ brisk", (strange,))


@pytest.mark.parametrize("text", ["NINDS scale. R KJ 3, L KJ 1.", "Nine-step scale. R KJ -2, L KJ +1"])
def test_a_scale_that_the_note_names_is_written_first(text: str) -> None:
    findings = read(text)
    assert {one.scale_basis for one in findings} == {"legend"}
    written = shorthand_of(findings, VOCABULARY).text
    assert essences(read(written)) == essences(findings), written


def test_a_reflex_and_a_scale_of_a_site_are_written_with_its_own_words(tmp_path: Path) -> None:
    rows = ["sternal [jerk], site, sternal, trigger, x", "form 12, legend, clinic-scale, , x"]
    words, tables = tmp_path / "ours.csv", tmp_path / "ours.toml"
    words.write_text("\n".join(["phrase, role, meaning, flags, source", *rows]), encoding="utf-8")
    tables.write_text(
        "[sternal]\nlabel = 'Sternal reflex'\nkind = 'stretch'\npaired = true\n"
        "[clinic-scale]\ntitle = 'Ours'\nsource = 'form 12'\n"
        "grades = [{ grade = 0, meaning = 'absent', level = 'absent' }, "
        "{ grade = 3, meaning = 'brisk', level = 'high' }]\n",
        encoding="utf-8",
    )
    ours = load_vocabulary([words, tables])
    findings = read("Form 12.\nL sternal jerk 3.", ours)
    written = shorthand_of(findings, ours).text
    assert written == "form 12; L sternal 3"
    assert essences(read(written, ours)) == essences(findings)
