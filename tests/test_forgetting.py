"""Forgetting and relinking from the command line, with notes that were really read."""

import json
from pathlib import Path

import pytest
from archive_session import TEXTS, loaded, session

from converter.amending import amend_sheet
from converter.archive import FindQuery, NoteKey, find, open_archive, stored_readings
from converter.archive.forgetting import Whom
from converter.fhir import resources_of
from converter.forgetting import forget, lift, retraction_bundle
from converter.relinking import Linked, relink_list

SYSTEM = "urn:example:notes"


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return loaded(tmp_path)


def ids(bundle: dict[str, object]) -> set[str]:
    return {entry["fullUrl"].removeprefix("urn:uuid:") for entry in bundle.get("entry", [])}  # type: ignore[attr-defined]


def test_the_bundle_takes_back_what_convert_sends(archive: Path) -> None:
    with open_archive(archive, read_only=True) as opened:
        ((note, reading, assessments),) = stored_readings(opened, [NoteKey(SYSTEM, "n3")])
    sent, _ = resources_of(note, reading, assessments, session().vocabulary, session().fhir)
    bundle = retraction_bundle(archive, Whom(patient="p3"), session(), "entered-in-error")
    kept = {"Device", "Provenance"}
    assert ids(bundle) == {one["id"] for one in sent if one["resourceType"] not in kept}


def test_a_rejected_finding_is_taken_back_too(archive: Path) -> None:
    before = ids(retraction_bundle(archive, Whom(patient="p3"), session(), "entered-in-error"))
    sheet = archive.with_name("s.csv")
    sheet.write_text("id,place,verdict\nn3,0..2 3..5,rejected\n", encoding="utf-8")
    with open_archive(archive) as opened:
        list(amend_sheet(opened, sheet, "r1", session()))
    after = ids(retraction_bundle(archive, Whom(patient="p3"), session(), "entered-in-error"))
    assert before <= after


def test_forgetting_leaves_no_word_of_the_note(archive: Path) -> None:
    text = TEXTS["n3"].encode()
    assert text in archive.read_bytes()
    forget(archive, Whom(patient="p3"), "officer-1", session(), "salt")
    assert text not in archive.read_bytes()
    with open_archive(archive, read_only=True) as opened:
        assert {row.patient for row in find(opened, FindQuery())} == {"p1", "p4", "p5"}
    assert lift(archive, Whom(patient="p3")) > 0


def test_a_list_of_merged_patients_is_followed_row_by_row(archive: Path) -> None:
    merged = archive.with_name("merged.csv")
    merged.write_text("From;To;System\np1;p4;\np9;p9;\np3;p4;urn:other\n;;\np4;p5;;\n", encoding="utf-8-sig")
    with open_archive(archive) as opened:
        done = list(relink_list(opened, merged, "r1", "2031-05-01T08:00:00Z"))
    assert [one for one in done if isinstance(one, Linked)] == [Linked(2, 1), Linked(4, 0)]
    wrong = [(one.line, one.message) for one in done if not isinstance(one, Linked)]
    assert wrong == [
        (3, "The link leads from a patient to the same. The row is left out."),
        (6, "The row has more cells than the header. The row is left out."),
    ]


def test_a_list_without_its_columns_is_said(archive: Path) -> None:
    merged = archive.with_name("merged.csv")
    merged.write_text("old,new\np1,p2\n", encoding="utf-8")
    with open_archive(archive) as opened:
        (wrong,) = relink_list(opened, merged, "r1", "2031-05-01T08:00:00Z")
    assert not isinstance(wrong, Linked)
    assert wrong.message.startswith("The list has no column from")
    assert json.dumps(wrong.line) == "1"
