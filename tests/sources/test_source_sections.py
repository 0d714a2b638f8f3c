"""Which sections of a clinical document are read, in CDA and in FHIR, and what is said of the others.

Source of the codes: C-CDA 5.0 (physical exam section: LOINC 29545-1) and LOINC (8705-6, 11384-5); the others
are from memory of C-CDA's section and note types.
"""

import json
from pathlib import Path

import pytest
from note_files import codes, only, read, write

from converter.model import Severity
from converter.sources import SourceOptions

LOINC = "2.16.840.1.113883.6.1"
Given = tuple[str, str, str]


def cda(*sections: Given, inner: str = "") -> str:
    written = "".join(
        "<component><section>"
        + (f'<code code="{code}" codeSystem="{LOINC}"/>' if code else "")
        + (f"<title>{title}</title>" if title else "")
        + f"<text><paragraph>{text}</paragraph></text>{inner}</section></component>\n"
        for code, title, text in sections
    )
    return (
        '<ClinicalDocument xmlns="urn:hl7-org:v3"><id root="2.999.1" extension="a"/><component>\n'
        f"<structuredBody>\n{written}</structuredBody></component></ClinicalDocument>"
    )


def composition(*sections: Given) -> str:
    made = [
        {
            "title": title,
            **({"code": {"coding": [{"system": "http://loinc.org", "code": code}]}} if code else {}),
            "text": {"status": "generated", "div": f"<div><p>{text}</p></div>"},
        }
        for code, title, text in sections
    ]
    return json.dumps({"resourceType": "Composition", "id": "a", "section": made})


VISIT: tuple[Given, ...] = (
    ("48765-2", "Allergies", "None known."),
    ("29545-1", "Findings", "Knee jerks 2+."),
    ("", "Family history", "Nothing to note."),
)


@pytest.mark.parametrize(("name", "make"), [("a.xml", cda), ("a.json", composition)])
def test_the_examination_is_read_and_the_rest_is_counted(tmp_path: Path, name: str, make: object) -> None:
    assert callable(make)
    (note,), troubles = read(write(tmp_path / name, make(*VISIT)))
    assert note.text == "Findings\nKnee jerks 2+."
    told = only(troubles, "sections-passed-over", Severity.INFORMATION, line=troubles[0].line)
    assert told.message == "Passed over as no part of an examination: 2 of 3 sections (LOINC 48765-2)."


@pytest.mark.parametrize(("name", "make"), [("a.xml", cda), ("a.json", composition)])
def test_all_sections_are_read_where_that_is_wanted(tmp_path: Path, name: str, make: object) -> None:
    assert callable(make)
    path = write(tmp_path / name, make(*VISIT))
    (note,), troubles = read(path, options=SourceOptions(sections=("all",)))
    assert [line for line in note.text.splitlines() if line] == [
        *("Allergies", "None known."),
        *("Findings", "Knee jerks 2+."),
        *("Family history", "Nothing to note."),
    ]
    assert troubles == []


@pytest.mark.parametrize(
    "code",
    ["29545-1", "8705-6", "11384-5", "10210-3", "61149-1", "34117-2", "11506-3", "11488-4", "34109-9"],
)
def test_codes_of_an_examination(tmp_path: Path, code: str) -> None:
    (note,), _ = read(write(tmp_path / "a.xml", cda((code, "Untitled", "KJ 2+."), *VISIT[::2])))
    assert note.text == "Untitled\nKJ 2+."


@pytest.mark.parametrize(
    "title",
    [
        "Physical Examination", "PHYSICAL EXAM", "Objective", "Objective:", "History and Physical", "H&amp;P",
        "Progress Note", "Consultation", "Neurological", "Reflexes", "O/E", "PE:", "On examination",
        "Lower extremities", "General Status",
    ],
)  # fmt: skip
def test_titles_of_an_examination(tmp_path: Path, title: str) -> None:
    (note,), _ = read(write(tmp_path / "a.xml", cda(("", title, "KJ 2+."), *VISIT[::2])))
    assert note.text == f"{title.replace('&amp;', '&')}\nKJ 2+."


@pytest.mark.parametrize(
    "title", ["Allergies", "Problem list", "Past medical history", "Social history", "Medications", "Example"]
)
def test_titles_of_other_parts(tmp_path: Path, title: str) -> None:
    (note,), _ = read(write(tmp_path / "a.xml", cda(("", title, "Old words."), VISIT[1])))
    assert "Old words" not in note.text


def test_sections_inside_an_examination_belong_to_it(tmp_path: Path) -> None:
    inner = "<component><section><title>Skin</title><text>Dry.</text></section></component>"
    (note,), troubles = read(write(tmp_path / "a.xml", cda(VISIT[1], inner=inner)))
    assert note.text == "Findings\nKnee jerks 2+.\n\nSkin\nDry."
    assert troubles == []


def test_an_examination_inside_another_section_is_found(tmp_path: Path) -> None:
    inner = "<component><section><title>Exam</title><text>KJ 2+.</text></section></component>"
    (note,), troubles = read(write(tmp_path / "a.xml", cda(("", "Course", "Long."), inner=inner)))
    assert note.text == "Exam\nKJ 2+."
    assert "1 of 2" in only(troubles, "sections-passed-over", Severity.INFORMATION).message


def test_a_document_without_an_examination_is_read_whole(tmp_path: Path) -> None:
    (note,), troubles = read(write(tmp_path / "a.xml", cda(VISIT[0], ("", "Course", "Knee jerks 2+."))))
    assert note.text == "Allergies\nNone known.\n\nCourse\nKnee jerks 2+."
    only(troubles, "no-examination-section", Severity.INFORMATION)


def test_reflexes_in_a_section_that_is_passed_over_are_said(tmp_path: Path) -> None:
    """Nothing is lost silently: the warning names the section's line and how to read it, not its words."""
    content = cda(VISIT[1], ("51848-0", "Assessment", "Secret brisk ankle jerks, likely old."))
    (note,), troubles = read(write(tmp_path / "a.xml", content))
    assert "ankle" not in note.text
    assert codes(troubles) == ["sections-passed-over", "reflexes-passed-over"]
    warned = troubles[1]
    assert (warned.severity, warned.line) == (Severity.WARNING, 4)
    assert "51848-0" in warned.message
    assert "Secret" not in f"{warned.message} {warned.hint}"


@pytest.mark.parametrize("wanted", ["51848-0", "assessment", "ASSESS"])
def test_a_site_adds_sections_of_its_own(tmp_path: Path, wanted: str) -> None:
    content = cda(VISIT[1], ("51848-0", "Assessment", "Brisk ankle jerks."), VISIT[0])
    options = SourceOptions(sections=("examination", wanted))
    (note,), troubles = read(write(tmp_path / "a.xml", content), options=options)
    assert note.text == "Findings\nKnee jerks 2+.\n\nAssessment\nBrisk ankle jerks."
    assert codes(troubles) == ["sections-passed-over"]


def test_a_code_of_another_system_is_no_loinc_code(tmp_path: Path) -> None:
    content = cda(("29545-1", "Mine", "x"), VISIT[1]).replace(LOINC, "2.999.9", 1)
    (note,), _ = read(write(tmp_path / "a.xml", content))
    assert note.text == "Findings\nKnee jerks 2+."


def test_the_sample_of_hl7_gives_its_examination(outside: Path) -> None:
    """The published History and Physical: General Status and Physical Examination of its 17 sections."""
    (note,), troubles = read(outside / "cda" / "samples" / "History_and_Physical.xml")
    assert "PHYSICAL EXAMINATION" in note.text
    assert "GENERAL STATUS" in note.text
    for title in ("ALLERGIES", "FAMILY HISTORY", "MEDICATIONS", "REVIEW OF SYSTEMS", "PLAN OF CARE"):
        assert title not in note.text
    told = next(one for one in troubles if one.code == "sections-passed-over")
    assert "15 of 17 sections" in told.message
