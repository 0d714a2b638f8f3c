"""The readable forms: five lines, counts, reference text, the drawing."""

import json
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from assess_findings import VOCABULARY, assess, both, finding, note, reading

from converter.assess import (
    assess_reading,
    causes_text,
    counts_text,
    figure_svg,
    pattern_counts,
    summary_record,
    summary_text,
)
from converter.model import Finding, Note
from converter.words.anatomy import shipped_knowledge

LABELS = ("Sides", "Strength", "Signs", "Pattern", "Not examined")
ASYMMETRIC = [finding("patellar", "left", 3), finding("patellar", "right", 1), both("achilles", 2)]


def summary(findings: list[Finding], of: Note | None = None, *, why: bool = False) -> str:
    about = of or note()
    read = reading(findings, about)
    return summary_text(assess_reading(read, about, VOCABULARY)[0], read, about, why=why)


def test_a_summary_has_five_lines_a_heading_and_the_caution() -> None:
    lines = summary([both("all_limbs", 2), both("plantar", response="flexor")]).splitlines()
    assert len(lines) == 7
    assert [line[2:15].strip() for line in lines[1:6]] == list(LABELS)
    assert lines[0] == "note n-1, exam 1, 2024-03-02, patient p-1, examiner ex-1"
    assert "not a diagnosis" in lines[6]


def test_the_words_of_the_note_stand_beside_each_abnormality() -> None:
    (line,) = [line for line in summary(ASYMMETRIC).splitlines() if line.startswith("  Sides")]
    assert line.endswith("[patellar left 3 | patellar right 1]")


def test_nothing_found_is_only_said_of_what_was_examined() -> None:
    text = summary([both("patellar", 2)])
    assert "Strength      none found in what was examined." in text
    assert "Signs         not documented." in text
    assert (
        "not documented: biceps both, brachioradialis both, triceps both, Achilles both, plantar both" in text
    )
    assert "no abnormality" not in text


def test_a_side_that_nobody_compared_is_not_called_equal() -> None:
    assert "Sides         no reflex is documented on both sides." in summary([finding("patellar", "left", 2)])


def test_why_names_code_rule_source_term_and_findings() -> None:
    text = summary(ASYMMETRIC, why=True)
    assert "why: side-difference, rule side-difference; source: Blumenfeld" in text
    assert "HP:0011808 Decreased patellar reflex (HP:0012834); rests on patellar-right-17" in text
    assert "why" not in summary(ASYMMETRIC)


def test_the_record_is_plain_and_holds_the_words() -> None:
    read = reading(ASYMMETRIC)
    record = summary_record(assess_reading(read, note(), VOCABULARY)[0], read, note())
    assert json.loads(json.dumps(record)) == record
    first = record["abnormalities"][0]
    assert (first["code"], first["size"]) == ("side-difference", 2)
    assert first["words"] == ["patellar left 3", "patellar right 1"]


def test_counts_by_pattern() -> None:
    exams = [
        assess(*ASYMMETRIC),
        assess(both("patellar", 2)),
        assess(both("patellar", 2)),
        assess(*ASYMMETRIC),
    ]
    counts = pattern_counts(exams)
    assert (counts["exams"], counts["side-difference"], counts["none-found"]) == (4, 2, 2)
    assert "50.0 %  Side difference" in counts_text(counts)
    assert counts_text(pattern_counts([])) == "0 exams"


@pytest.mark.parametrize(
    ("findings", "kinds", "urgent"),
    [
        ([finding("biceps", "left", 0)], ["a single nerve", "an acute stroke"], "spinal injury centres"),
        ([both("all_limbs", None, "hyperactive")], ["eclampsia", "serotonin toxicity"], "maternity units"),
        ([both("all_limbs", 0)], ["high magnesium", "deep coma"], "lost within days"),
    ],
)
def test_causes_are_reference_text(findings: list[Finding], kinds: list[str], urgent: str) -> None:
    """Kinds of cause as common practice lists them, no source."""
    text = causes_text(assess(*findings), note())
    assert text.startswith("Exam of 2024-03-02: general reference, not about this patient\n")
    assert all(kind in text for kind in kinds)
    assert urgent in text


def test_causes_are_nowhere_in_an_assessment() -> None:
    found = str(assess(both("all_limbs", None, "hyperactive"), both("plantar", response="extensor")))
    for causes in shipped_knowledge().causes:
        for kind in causes.kinds:
            assert not re.search(rf"\b{re.escape(kind.text)}\b", found), kind


def test_a_normal_exam_has_no_causes() -> None:
    assert "No pattern" in causes_text(assess(both("patellar", 2)), note())


def test_text_of_a_note_cannot_steer_a_terminal() -> None:
    text = summary([replace(finding("patellar", "left", 0), quote="left knee \x1b[31m0")])
    assert "\x1b" not in text
    assert "left knee \N{REPLACEMENT CHARACTER}[31m0" in text


def figure(*findings: Finding) -> str:
    read = reading(findings)
    return figure_svg(assess_reading(read, note(), VOCABULARY)[0], read, note(), VOCABULARY)


def test_the_drawing_is_well_formed_and_says_the_same_in_words() -> None:
    drawing = ElementTree.fromstring(figure(*ASYMMETRIC))
    space = {"s": "http://www.w3.org/2000/svg"}
    description = drawing.find("s:desc", space)
    assert description is not None
    assert "Patellar reflex right: 1 (low)" in (description.text or "")


def test_what_has_no_place_on_the_figure_is_named_below_it() -> None:
    drawing = figure(
        both("all_limbs", 2), finding("hamstring", "right", 1), finding("hoffmann", "left", negated=True)
    )
    assert "Documented but not drawn: Hamstring reflex right; Hoffmann sign left." in drawing
    assert "not drawn" not in figure(both("all_limbs", 2), both("plantar", response="flexor"))
    many = [finding(site, "left", 1) for site in ("hamstring", "pectoral", "deltoid", "adductor", "jaw")]
    (line,) = re.findall("Documented but not drawn: [^<]*", figure(*many))
    assert len(line) <= 96


@pytest.mark.parametrize(
    ("response", "text"),
    [("extensor", "toe up"), ("equivocal", "toe unclear"), ("absent", "no response"), ("mute", "mute")],
)
def test_every_plantar_response_is_drawn(response: str, text: str) -> None:
    assert f">{text}</text>" in figure(finding("plantar", "left", response=response))


def test_high_and_low_differ_without_colour() -> None:
    """WCAG 2.2, success criterion 1.4.1: colour is not the only means of telling things apart."""
    shapes = {}
    for word, level in (("absent", "absent"), ("diminished", "low"), ("normal", "normal"), ("brisk", "high")):
        drawing = figure(finding("patellar", "left", None, word))
        mark = re.search(rf'<g class="patellar left {level}">(<[^g].*?)<text', drawing)
        assert mark is not None
        shapes[level] = re.sub(r'(stroke|fill)="#[0-9a-f]+"', "", mark[1])
    assert len(set(shapes.values())) == 4


def test_the_patient_faces_the_reader() -> None:
    drawing = figure(finding("patellar", "left", 3), finding("patellar", "right", 1))
    places = {
        side: int(x)
        for side, x in re.findall(r'<g class="patellar (left|right) \w+">.*?<text x="(\d+)"', drawing)
    }
    assert places["right"] < 220 < places["left"]


def test_text_of_a_note_cannot_break_the_drawing() -> None:
    drawing = figure(finding("patellar", "left", 3, as_written='3+ <script>"&\x0b', descriptor="x"))
    ElementTree.fromstring(drawing)
    assert "<script" not in drawing
