"""One invented visit comes out of every wrapper as the same note; see `fixtures/sources/README.md`.

The expected texts and fields were written from reading the fixtures, not taken from the program.
"""

from pathlib import Path

import pytest
from note_files import codes, read

from converter.api import open_session, read_notes
from converter.sources import SourceOptions

VISITS = Path(__file__).parents[2] / "fixtures" / "sources"
TABLE = "| Reflex | Right | Left |\n| Biceps | 2+ | 2+ |\n| Knee | 2+ | 3+ |\n| Ankle | 1+ | absent |\n"
PLANTAR = "• Plantar response: flexor right, extensor left."
FIELDS = {
    "id": "VISIT-9",
    "system": "urn:oid:2.999.4.1",
    "patient": "P-900",
    "encounter": "E-77",
    "author": "EX-9",
    "facility": "CLINIC-4",
    "birth_date": "1970-01-02",
    "kind": "Progress note",
}
FINDINGS = [
    ("achilles", "left", "absent"),
    ("achilles", "right", "1+"),
    ("biceps", "left", "2+"),
    ("biceps", "right", "2+"),
    ("patellar", "left", "3+"),
    ("patellar", "right", "2+"),
    ("plantar", "left", "extensor"),
    ("plantar", "right", "flexor"),
]


@pytest.mark.parametrize(
    ("name", "text"),
    [
        (
            "visit.cda.xml",
            f"Physical examination\nTone normal.\nPower full.\n\nReflexes\n{TABLE}{PLANTAR}",
        ),
        (
            "visit.fhir.json",
            f"Physical examination\nTone normal.\nPower full & equal.\nReflexes\n{TABLE}{PLANTAR}",
        ),
        ("visit.fhir.xml", f"Reflexes\n{TABLE}{PLANTAR}"),
        ("visit.html", f"Physical examination\nTone normal.\nPower\xa0full.\nReflexes\n{TABLE}{PLANTAR}"),
        (
            "visit.rtf",
            f"Physical examination\nTone normal – power full. ↑ is not used here.\nReflexes\n{TABLE}"
            + PLANTAR,
        ),
        (
            "visit.mdm.hl7",
            (
                "Physical examination:\nTone normal.\nPower full & equal.\nReflexes:\nReflex | Right | Left\n"
                "Biceps | 2+ | 2+\nKnee | 2+ | 3+\nAnkle | 1+ | absent\n"
                "Plantar response: flexor right, extensor left."
            ),
        ),
    ],
)
def test_the_layout_of_every_wrapper_becomes_lines(name: str, text: str) -> None:
    (note,), _ = read(VISITS / name)
    assert note.text == text


@pytest.mark.parametrize(
    "name", ["visit.cda.xml", "visit.fhir.json", "visit.fhir.xml", "visit.html", "visit.rtf", "visit.mdm.hl7"]
)
def test_every_wrapper_gives_the_same_findings(name: str) -> None:
    notes, _ = read(VISITS / name)
    ((_, reading),) = read_notes(notes, open_session())
    found = sorted((one.site, one.side, one.as_written or one.response) for one in reading.findings)
    assert [(site, side) for site, side, _ in found] == [(site, side) for site, side, _ in FINDINGS]
    assert [(site, side, said) for site, side, said in found if site != "plantar"] == FINDINGS[:6]
    responses = {one.side: one.response for one in reading.findings if one.site == "plantar"}
    assert responses == {"left": "extensor", "right": "flexor"}


@pytest.mark.parametrize("name", ["visit.cda.xml", "visit.fhir.json", "visit.fhir.xml", "visit.mdm.hl7"])
def test_headers_identify_the_note(name: str) -> None:
    (note,), _ = read(VISITS / name)
    assert {field: getattr(note, field) for field in FIELDS} == FIELDS
    assert (note.authored or "").removesuffix("+10:00") in ("2031-05-06T14:30", "2031-05-06T14:30:00")
    assert (note.authored or "").endswith("+10:00")
    assert (note.sex or "").lower()[0] == "f"


@pytest.mark.parametrize("name", ["visit.cda.xml", "visit.mdm.hl7", "visit.html", "visit.rtf"])
def test_what_is_read_whole_is_read_without_a_word(name: str) -> None:
    assert read(VISITS / name, options=SourceOptions(sections=("all",)))[1] == []


def test_content_counts_more_than_the_name(tmp_path: Path) -> None:
    for name in (
        "visit.cda.xml",
        "visit.fhir.json",
        "visit.fhir.xml",
        "visit.html",
        "visit.rtf",
        "visit.mdm.hl7",
    ):
        for other in ("a.txt", "a", "a.csv"):
            file = tmp_path / other
            file.write_bytes((VISITS / name).read_bytes())
            (note,), _ = read(file)
            assert note.text == read(VISITS / name)[0][0].text, (name, other)


def test_all_of_them_are_read_from_one_folder() -> None:
    notes, troubles = read(VISITS)
    assert len(notes) == 2 + 1 + 2 + 1 + 1 + 1 + 4  # batch, CDA, FHIR twice, HTML, MDM, RTF, NDJSON
    assert codes(troubles).count("identity-clash") == 3
    assert "README.md" in next(
        trouble.source or "" for trouble in troubles if trouble.code == "unknown-format"
    )
