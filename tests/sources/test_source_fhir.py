"""FHIR against its published examples and schemas, and against what else stands in such files."""

import base64
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from note_files import codes, json_lines, only, read, write

from converter.api import assess, convert, open_session, read_notes
from converter.model import Note, Severity
from converter.sources import SourceOptions, note_from_text

VISITS = Path(__file__).parents[2] / "fixtures" / "sources"


def packed(text: str | bytes) -> str:
    return base64.b64encode(text.encode() if isinstance(text, str) else text).decode()


def document(number: str = "a", **more: Any) -> dict[str, Any]:
    attachment = {"contentType": "text/plain", "data": packed("KJ 2+")}
    return {
        "resourceType": "DocumentReference",
        "id": number,
        "status": "current",
        "content": [{"attachment": attachment}],
        **more,
    }


def as_json(tmp_path: Path, *resources: Mapping[str, Any]) -> Path:
    return write(tmp_path / "a.ndjson", json_lines(resources))


def test_the_fixtures_fit_the_schema(outside: Path) -> None:
    """The R4 XML schema (https://hl7.org/fhir/R4/fhir-all-xsd.zip, CC0), as the outside material holds it."""
    from lxml import etree

    schema = next(iter(sorted((outside / "fhir-examples" / "xsd").glob("**/fhir-single.xsd"))), None) or next(
        iter(sorted((outside / "fhir-examples" / "xsd").glob("**/documentreference.xsd"))), None
    )
    if schema is None:
        pytest.skip("the outside material holds no R4 schema for DocumentReference")
    etree.XMLSchema(etree.parse(str(schema))).assertValid(etree.parse(str(VISITS / "visit.fhir.xml")))


def test_published_observations_are_read_as_they_are(outside: Path) -> None:
    """The official R4 examples (CC0): each is a note where it holds words, and said to be none elsewhere."""
    folder = outside / "fhir-examples" / "r4obs"
    files = sorted(folder.glob("*.json"))
    assert len(files) > 50
    for file in files:
        resource = json.loads(file.read_text(encoding="utf-8"))
        parts = [resource, *resource.get("component", [])]
        words = [part["valueString"] for part in parts if "valueString" in part]
        words += [note["text"] for note in resource.get("note", [])]
        notes, troubles = read(file)
        if resource["status"] == "entered-in-error":
            assert codes(troubles) == ["entered-in-error"], file.name
        elif words:
            (note,) = notes
            assert all(word.strip() in note.text for word in words), file.name
        else:
            assert notes == [], file.name
            assert codes(troubles) == ["no-text-in-resource"], file.name


def test_what_we_write_is_read_back() -> None:
    """A DocumentReference of our own with the text inside is the same note again, in JSON and in XML."""
    from dataclasses import replace

    from converter.fhir import xml_text

    session = open_session()
    session = replace(session, fhir=replace(session.fhir, note_text=True))
    note = replace(
        note_from_text("KJ 2+, AJ 1+", "n-1", "urn:oid:2.999.1"),
        patient="p-1", author="x-1", authored="2031-05-06T14:30:00+10:00", authored_precision="second",
    )  # fmt: skip
    ((_, reading),) = read_notes([note], session)
    resources, _ = convert(note, reading, assess(note, reading, session), session)
    written = next(one for one in resources if one["resourceType"] == "DocumentReference")
    assert _again(json.dumps(written), "json") == note
    assert _again(xml_text(written), "xml") == note


def _again(content: str, suffix: str) -> Note:
    import tempfile
    from dataclasses import replace

    with tempfile.TemporaryDirectory() as folder:
        (note,), _ = read(write(Path(folder) / f"a.{suffix}", content))
    return replace(note, source=None, line=None)


def test_resources_by_line() -> None:
    notes, troubles = read(VISITS / "visits.ndjson")
    assert [(note.id, note.patient, note.authored, note.text) for note in notes] == [
        ("D-1", "P-910", "2031-06-01", "Réflexes: knee jerks 2+."),
        ("D-2", "P-910", "2031-06", "Ankle jerks absent."),
        ("OBS-1", "P-910", "2031-06-02T10:00:00Z", "Right knee reflex: 3+\nBrisker than in May."),
        ("R-1", "P-910", "2031-06-03", "Reflexes 2+ throughout."),
    ]
    assert [(trouble.code, trouble.line) for trouble in troubles] == [
        ("attachment-elsewhere", 4),
        ("entered-in-error", 5),
        ("no-text-in-resource", None),
    ]
    assert "1 Observation, 1 Patient" in troubles[-1].message


def test_a_bundle_gives_its_notes_with_their_paths(tmp_path: Path) -> None:
    binary = {"resourceType": "Binary", "id": "b", "contentType": "text/plain", "data": packed("AJ 1+")}
    by_url = document("d2", content=[{"attachment": {"url": "Binary/b"}}])
    bad = document("d3", content=[{"attachment": {"contentType": "text/plain", "data": "?"}}])
    bundle = {"resourceType": "Bundle", "type": "collection",
              "entry": [{"resource": one} for one in (binary, document("d1"), by_url, bad)]}  # fmt: skip
    notes, troubles = read(write(tmp_path / "a.json", json.dumps(bundle, indent=1)))
    assert [(note.id, note.text) for note in notes] == [("d1", "KJ 2+"), ("d2", "AJ 1+")]
    assert [(trouble.code, trouble.path) for trouble in troubles] == [
        ("bad-base64", "Bundle.entry[3].resource"),
        ("no-text-in-resource", None),
    ]


@pytest.mark.parametrize("shape", ["one", "list", "indented", "bundle-line"])
def test_any_shape_of_json(tmp_path: Path, shape: str) -> None:
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": document()}]}
    content = {
        "one": json.dumps(document()),
        "list": json.dumps([document()], indent=2),
        "indented": json.dumps(document(), indent=2),
        "bundle-line": json.dumps(bundle),
    }[shape]
    (note,), troubles = read(write(tmp_path / "a.json", content))
    assert (note.id, note.text, troubles) == ("a", "KJ 2+", [])


@pytest.mark.parametrize(
    ("subject", "patient"),
    [
        ({"reference": "Patient/7"}, "7"),
        ({"reference": "Patient/7/_history/2"}, "7"),
        ({"reference": "https://a.example/fhir/Patient/7"}, "https://a.example/fhir/Patient/7"),
        (
            {"reference": "urn:uuid:0c3151bd-1cbf-4d64-b04d-cd9187a4c6e0"},
            "urn:uuid:0c3151bd-1cbf-4d64-b04d-cd9187a4c6e0",
        ),
        ({"reference": "Patient/7", "identifier": {"value": "MRN-7"}}, "MRN-7"),
        ({"display": "somebody"}, None),
    ],
)
def test_references_name_patients(tmp_path: Path, subject: dict[str, Any], patient: str | None) -> None:
    (note,), _ = read(as_json(tmp_path, document(subject=subject)))
    assert note.patient == patient


def test_a_release_5_document_is_read_too(tmp_path: Path) -> None:
    """R5: no masterIdentifier, context is a list of encounters, period stands by itself."""
    resource = document(
        identifier=[{"system": "urn:oid:2.999.1", "value": "D-5"}],
        context=[{"reference": "Encounter/e"}],
        period={"start": "2031-05-06"},
    )
    (note,), _ = read(as_json(tmp_path, resource))
    assert (note.id, note.encounter, note.authored) == ("D-5", "e", "2031-05-06")


def test_a_day_that_does_not_exist_is_said(tmp_path: Path) -> None:
    (note,), troubles = read(as_json(tmp_path, document(date="2023-02-30")))
    assert note.authored is None
    trouble = only(troubles, "bad-date", Severity.WARNING, line=1)
    assert trouble.path == "DocumentReference"


def test_deeply_nested_json_and_sections(tmp_path: Path) -> None:
    good = json.dumps(document())
    content = good + "\n" + '{"resourceType": "Bundle", "x": ' + "[" * 100_000 + "\n"
    notes, troubles = read(write(tmp_path / "a.ndjson", content))
    assert [note.id for note in notes] == ["a"]
    assert "nested too deeply" in only(troubles, "not-json", Severity.ERROR, line=2).message
    section: dict[str, Any] = {"title": "last"}
    for _ in range(60):
        section = {"title": "s", "section": [section]}
    notes, troubles = read(
        as_json(tmp_path, {"resourceType": "Composition", "id": "c", "section": [section]})
    )
    assert "nested-too-deeply" in codes(troubles)


@pytest.mark.parametrize(
    "content",
    [
        "[1, 2]",
        '{"resourceType": "Bundle", "entry": [{"resource": 7}]}',
        '{"resourceType": ["x"], "id": {"a": 1}}',
        '{"resourceType": "Composition"}',
        '{"resourceType": "Bundle", "entry": ' + "[" * 800 + "]" * 800 + "}",
    ],
)
def test_json_of_another_shape_never_raises(tmp_path: Path, content: str) -> None:
    notes, troubles = read(write(tmp_path / "a.json", content), options=SourceOptions(input_format="fhir"))
    assert troubles
    assert all(not note.text for note in notes)


def test_fhir_xml_with_entities_is_refused(tmp_path: Path) -> None:
    start = '<!DOCTYPE x [<!ENTITY a "b">]>\n<Observation xmlns="http://hl7.org/fhir"/>'
    notes, troubles = read(write(tmp_path / "a.xml", start))
    assert notes == []
    only(troubles, "xml-doctype", Severity.ERROR, line=1)


def test_a_superseded_document_is_read_and_said(tmp_path: Path) -> None:
    (note,), troubles = read(as_json(tmp_path, document(status="superseded")))
    assert note.text == "KJ 2+"
    only(troubles, "superseded-document", Severity.INFORMATION, line=1)


def test_json_lines_of_our_own_are_not_taken_for_fhir(tmp_path: Path) -> None:
    text = 'They sent {"resourceType": "Patient"} by mail'
    (note,), _ = read(write(tmp_path / "a.jsonl", json_lines([{"id": "a", "text": text}])))
    assert note.text == text
